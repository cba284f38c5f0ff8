"""A lens that moves, as a person types it."""

import numpy as np
import pytest
import tifffile

from tests.bursts import write_jpegs, write_tiffs
from tests.cli.test_expose import assert_refused, run


def test_a_still_and_a_burst_are_moved_and_what_was_done_is_in_the_file(tmp_path):
    write_jpegs(tmp_path / "burst", 3)
    one = run("move", tmp_path / "burst" / "KP_0001.jpg", "--zoom", "1.3", "-o", tmp_path / "z.tif")
    assert one.returncode == 0, one.stderr
    assert "the lens moved over 1 frame, by up to 8 pixels, 48 x 32 pixels" in one.stdout
    words = ("--drift", "6,0", "--focus", "4", "--halts", "2", "-o", tmp_path / "d.tif")
    several = run("move", tmp_path / "burst", *words)
    assert several.returncode == 0, several.stderr
    with tifffile.TiffFile(tmp_path / "d.tif") as file:
        assert '"halts": 2' in file.pages[0].description
        assert file.pages[0].asarray().shape == (32, 48, 3)


def test_a_path_over_a_burst_goes_on_from_frame_to_frame(tmp_path):
    frames = [np.zeros((40, 80, 3), np.uint16) for _ in range(4)]
    for frame in frames:
        frame[18:22, 28:32] = 60000
    write_tiffs(tmp_path / "burst", frames)
    words = ("--drift", "32,0", "--depth", "32", "-o", tmp_path / "d.tif")
    assert run("move", tmp_path / "burst", *words).returncode == 0
    light = tifffile.imread(tmp_path / "d.tif")[20, :, 1]
    # four frames of one scene are one still: a block of 4 px over a way of 32
    full = light[36:56]
    np.testing.assert_allclose(full, full.mean(), rtol=0.1)
    one = run("move", tmp_path / "burst" / "KP_0001.tif", *words, "--overwrite")
    assert one.returncode == 0
    np.testing.assert_allclose(tifffile.imread(tmp_path / "d.tif")[20, 36:56, 1], full, rtol=0.1)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "nothing moves"),
        (("--zoom", "0"), "--zoom 0"),
        (("--drift", "4"), "--drift 4"),
        (("--focus", "-2"), "--focus 0,-2"),
        (("--focus", "30"), "--focus 30"),
        (("--halts", "1", "--zoom", "2"), "--halts 1"),
        (("--rest", "1", "--zoom", "2"), "--rest 1"),
        (("--drift", "900,0"), "stacker move"),
    ],
)
def test_what_makes_no_sense_is_refused(tmp_path, words, said):
    write_jpegs(tmp_path / "burst", 1)
    result = run("move", tmp_path / "burst", *words, "-o", tmp_path / "out.tif")
    assert_refused(result, said)
    assert not (tmp_path / "out.tif").exists()
