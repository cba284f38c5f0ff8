"""--space and --strict as a person types them."""

import json

import pytest
import tifffile
from PIL import Image

from stacker.light.space import DISPLAY_P3, REC2020, SRGB
from tests.cli.test_expose import assert_refused, run


@pytest.fixture
def folder(tmp_path):
    """Frames of a green that only Display P3 holds."""
    (tmp_path / "b").mkdir()
    for number in range(3):
        green = Image.new("RGB", (40, 30), (0, 200, 0))
        green.save(tmp_path / "b" / f"{number}.png", icc_profile=DISPLAY_P3.icc)
    return tmp_path / "b"


def test_space_converts_and_tells_what_was_clipped(folder, tmp_path):
    out, report = tmp_path / "a.tif", tmp_path / "r.json"
    result = run("expose", folder, "-o", out, "--space", "srgb", "--report", report)
    assert result.returncode == 0
    assert "note: 100.0% of the picture lies outside sRGB and was clipped" in result.stderr
    with tifffile.TiffFile(out) as file:
        assert file.pages[0].tags[34675].value == SRGB.icc
    assert json.loads(report.read_text())["colour_space"] == "sRGB"


def test_a_wider_space_clips_nothing(folder, tmp_path):
    result = run("expose", folder, "-o", tmp_path / "a.png", "--space", "rec2020")
    assert result.returncode == 0 and "clipped" not in result.stderr
    with Image.open(tmp_path / "a.png") as picture:
        assert picture.info["icc_profile"] == REC2020.icc


def test_an_unknown_space_is_refused_before_the_burst_is_read(tmp_path):
    result = run("expose", tmp_path / "nowhere", "-o", tmp_path / "a.tif", "--space", "wide")
    assert_refused(result, "--space wide", "display-p3")


def test_strict_refuses_what_would_be_a_guess(folder, tmp_path):
    out = tmp_path / "a.tif"
    with Image.open(folder / "1.png") as frame:
        frame.save(folder / "1.png", icc_profile=DISPLAY_P3.icc[:150])
    loose = run("expose", folder, "-o", out)
    assert loose.returncode == 0 and "taken as Display P3" in loose.stderr
    strict = ("expose", folder, "-o", out, "--overwrite", "--strict")
    assert_refused(run(*strict), "1.png", "profile", "--strict")
    skipped = run(*strict, "--on-bad", "skip")
    assert skipped.returncode == 0 and "mean of 2 frames" in skipped.stdout
    Image.new("RGB", (40, 30), (0, 200, 0)).save(folder / "1.png")
    assert_refused(run(*strict), "1.png", "is not the burst's")
    assert "in sRGB" in run(*strict[:-1]).stderr
