"""What is typed after --region."""

import cv2
import numpy as np
import pytest

from stacker.cli.regions import regions_of
from stacker.engine import Region
from stacker.errors import OptionError
from tests.bursts import write_jpegs, write_tiffs
from tests.cli.test_expose import assert_refused, run


def test_the_words_are_those_of_the_long_options():
    (found,) = regions_of(
        ["a=b.png=blend mean, --first 3, last 40, without 5 7-9, shutter 1/2, no-bridge, feather 4"]
    )
    assert found == Region(
        mask="a=b.png", blend="mean", first=3, last=40, without=(5, 7, 8, 9), shutter_s=0.5,
        bridge=False, feather_px=4.0,
    )  # fmt: skip


def test_what_is_told_can_be_typed():
    region = Region(mask="sky", blend="lighten", without=(5, 7), shutter_s=2.5, bridge=True)
    assert regions_of([region.told()]) == (region,)


def test_a_region_takes_a_moment_and_a_white_balance():
    (found,) = regions_of(["ground=moment 21:21, warmth -20"])
    assert found == Region(mask="ground", moment="21:21", warmth=-20.0)
    (found,) = regions_of(["ground=moment auto, gains 1.1 1 0.8"])
    assert found == Region(mask="ground", moment="auto", gains=(1.1, 1.0, 0.8))
    assert regions_of([found.told()]) == (found,)
    with pytest.raises(OptionError, match="each of them sets the white balance"):
        regions_of(["ground=warmth 20, gains 1 1 2"])


@pytest.mark.parametrize(
    "text", ["", "sky", "=blend mean", "sky=", "sky=,", "sky=blend", "sky=first x", "sky=glow 3",
             "sky=blend mean, blend max", "sky=bridge 3", "sky=without 9-7", "sky=warmth red",
             "sky=gains 1 b"],
)  # fmt: skip
def test_what_is_not_written_as_a_region_is_refused(text):
    with pytest.raises(OptionError) as found:
        regions_of([text])
    assert found.value.code in ("option-region", "region-mask")
    assert found.value.remedy


def test_a_region_on_the_command_line(tmp_path):
    write_jpegs(tmp_path / "burst", 4)
    mask = np.zeros((32, 48), np.uint8)
    mask[16:] = 255
    cv2.imwrite(str(tmp_path / "low.png"), mask)
    result = run(
        "expose", "burst", "-o", "out.png", "--region", "low.png=blend median", cwd=tmp_path
    )
    assert result.returncode == 0, result.stderr
    assert "mean of 4 frames" in result.stdout
    assert "in low.png median of 4" in result.stdout
    assert result.stderr == ""
    refused = run("expose", "burst", "-o", "b.png", "--region", "no.png=blend max", cwd=tmp_path)
    assert_refused(refused, "--region no.png", "no such file")
    assert not (tmp_path / "b.png").exists()


def test_masks_that_are_found_are_written_once(tmp_path):
    rng = np.random.default_rng(1)
    shore = rng.integers(40, 200, (64, 96, 3), dtype=np.uint8)
    frames = []
    for _ in range(6):
        pixels = shore.copy()
        pixels[32:] = rng.integers(40, 200, (32, 96, 1), dtype=np.uint8)
        frames.append(pixels)
    write_tiffs(tmp_path / "burst", frames)
    words = ("expose", "burst", "-o", "out.png", "--hold", "still", "--save-masks", "masks")
    result = run(*words, cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    # there is no sky to be told, and nothing fails for it
    assert "no mask of sky was made" in result.stderr
    moving = cv2.imread(str(tmp_path / "masks" / "moving.png"), cv2.IMREAD_UNCHANGED)
    assert moving.shape == (64, 96)
    assert moving[40:].min() > 60000
    assert moving[:24].max() < 5000
    again = run(*words, "--overwrite", cwd=tmp_path)
    assert again.returncode == 0, again.stderr
    (tmp_path / "out.png").unlink()
    assert_refused(run(*words, cwd=tmp_path), "masks", "exists already")
    assert not (tmp_path / "out.png").exists()
