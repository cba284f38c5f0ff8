"""Calibration as a person types it."""

import json

import cv2
import numpy as np
import pytest
import tifffile

from tests.bursts import write_jpegs, write_tiffs
from tests.cli.test_expose import assert_refused, run


@pytest.fixture
def night(tmp_path):
    """Return folders of frames and darks of one sensor, finished pictures of 16 bits."""
    rng = np.random.default_rng(5)
    warm = (rng.random((32, 48, 1)) < 0.02) * 8000
    for name, light in (("frames", 20000), ("darks", 0)):
        write_tiffs(
            tmp_path / name,
            [
                (light + warm + rng.integers(0, 200, (32, 48, 3))).astype(np.uint16)
                for _ in range(5)
            ],
        )
    return tmp_path


def test_a_master_is_made_and_used(night):
    made = run("master", "dark", night / "darks", "-o", night / "dark.tif")
    assert made.returncode == 0, made.stderr
    assert "dark, median of 5 frames, 48 x 32 pixels" in made.stdout
    with tifffile.TiffFile(night / "dark.tif") as file:
        facts = json.loads(file.pages[0].description)
    assert facts["stacker_master"] == 1 and facts["kind"] == "dark"
    results = []
    for name, dark in (("a", "darks"), ("b", "dark.tif")):
        result = run(
            "expose", night / "frames", "--dark", night / dark, "-o", night / f"{name}.png",
            "--report", night / f"{name}.json",
        )  # fmt: skip
        assert result.returncode == 0, result.stderr
        results.append(cv2.imread(str(night / f"{name}.png"), cv2.IMREAD_UNCHANGED))
    np.testing.assert_array_equal(*results)
    reports = [json.loads((night / f"{name}.json").read_text()) for name in "ab"]
    assert reports[0]["calibration"]["dark"]["frames"] == 5
    assert reports[1]["settings"]["darks"] == [str(night / "dark.tif")]


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("light", "darks", "-o", "x.tif"), ("light", "dark, flat, bias")),
        (("dark", "darks", "-o", "x.jpg"), ("x.jpg", "TIFF")),
        (("dark", "nowhere", "-o", "x.tif"), ("nowhere", "no such file")),
        (("dark", "darks", "-o", "darks/KP_0001.tif", "--overwrite"), ("never written over",)),
        (("dark", "darks", "-o", "x.tif", "--on-bad", "maybe"), ("--on-bad",)),
    ],
)
def test_what_makes_no_master_is_one_sentence(night, words, parts):
    assert_refused(run("master", *words, cwd=night), *parts)
    assert not (night / "x.tif").exists()


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--dark", "small"), ("--dark small", "the darks are 16 x 16 pixels")),
        (("--hot-pixels", "never"), ("--hot-pixels never", "auto, mend or keep")),
        (("--highlights", "rebuild"), ("--highlights rebuild", "clip or blend")),
        (("--flat", "darkness"), ("--flat darkness", "hold no light")),
    ],
)
def test_what_does_not_fit_is_one_sentence(night, words, parts):
    write_tiffs(night / "small", [np.zeros((16, 16, 3), np.uint16)])
    write_tiffs(night / "darkness", [np.zeros((32, 48, 3), np.uint16)])
    assert_refused(run("expose", "frames", *words, "-o", "x.tif", cwd=night), *parts)


@pytest.mark.parametrize("master", [False, True])
@pytest.mark.parametrize("option", ["-o", "--report"])
def test_nothing_is_written_over_a_dark(night, option, master):
    dark = night / "darks" / "KP_0001.tif"
    if master:
        dark = night / "dark.tif"
        assert run("master", "dark", night / "darks", "-o", dark).returncode == 0
    before = dark.read_bytes()
    names = {"-o": night / "x.tif", option: dark}
    words = [word for pair in names.items() for word in pair]
    darks = dark if master else night / "darks"
    result = run("expose", night / "frames", "--dark", darks, *words, "--overwrite")
    assert_refused(result, "never written over")
    assert dark.read_bytes() == before and not (night / "x.tif").exists()


def test_notes_on_options_that_do_nothing(tmp_path):
    write_jpegs(tmp_path / "burst", 3)
    result = run(
        "expose", tmp_path / "burst", "--highlights", "blend", "--hot-pixels", "mend",
        "-o", tmp_path / "a.jpg",
    )  # fmt: skip
    assert result.returncode == 0
    assert "note: --highlights counts only for raw frames" in result.stderr
    assert "in 3 frames they cannot be told from stars" in result.stderr
