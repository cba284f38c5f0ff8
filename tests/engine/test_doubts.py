"""Who stays in a median: found, told, and shown in the map; nobody where nobody stayed."""

import json

import cv2
import numpy as np
import pytest
import tifffile

import stacker
from tests.cli.test_expose import run

PLACE = (slice(80, 120), slice(200, 224))


def write_square(folder, stays: int) -> None:
    """Write twelve frames of a square that somebody walks over, and where one stands in some."""
    rng = np.random.default_rng(3)
    ground = cv2.resize(rng.uniform(0.3, 0.5, (40, 60)).astype(np.float32), (320, 200))
    folder.mkdir()
    for number in range(12):
        frame = ground + rng.normal(0, 0.003, ground.shape)
        frame[140:176, 20 * number : 20 * number + 16] = 0.1
        if number < stays:
            frame[PLACE] = 0.9
        codes = np.rint(255 * np.clip(np.dstack([frame] * 3), 0, 1)).astype(np.uint8)
        tifffile.imwrite(folder / f"KP_{number:04d}.tif", codes)


@pytest.mark.parametrize(("stays", "told"), [(0, False), (2, False), (5, True), (8, True)])
def test_where_somebody_stood_for_long_is_told(tmp_path, stays, told):
    """Of two looks nobody can know which is the ground: five frames of twelve count too."""
    write_square(tmp_path / "square", stays)
    shot = stacker.expose(stacker.open_burst(tmp_path / "square"), subject="crowd")
    assert (shot.light[100, 212].mean() > 0.6) == (stays > 6)
    found = shot.report["doubts"]
    notes = [words for words in shot.report["warnings"] if "may be left" in words]
    assert bool(notes) == told == bool(found["boxes"])
    if told:
        ((x, y, width, height),) = found["boxes"]
        # the small copy is the picture here: noise may take a pixel off
        assert abs(x - 200) <= 1 and abs(y - 80) <= 1
        assert abs(width - 24) <= 2 and abs(height - 40) <= 2
    agreeing = shot.doubt_map()
    assert agreeing.shape == shot.light.shape[:2]
    assert agreeing[100, 212] == pytest.approx(max(stays, 12 - stays) / 12, abs=0.01)
    # one frame of twelve has the walker there
    assert agreeing[158, 108] == pytest.approx(11 / 12, abs=0.01)
    assert np.median(agreeing) == 1


def test_a_burst_that_is_not_asked_about_is_not_looked_at(tmp_path):
    write_square(tmp_path / "square", 8)
    shot = stacker.expose(stacker.open_burst(tmp_path / "square"), blend="median")
    assert "doubts" not in shot.report and shot.agreeing is None
    assert shot.doubt_map().min() == 1


def test_the_map_is_written_by_the_command(tmp_path):
    write_square(tmp_path / "square", 8)
    words = ("expose", "square", "--blend", "median", "-o", "empty.tif", "--doubt-map")
    result = run(*words, "doubts.png", "--report", "report.json", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert "may be left in" in result.stderr
    grey = cv2.imread(str(tmp_path / "doubts.png"), cv2.IMREAD_UNCHANGED)
    assert grey.shape == (200, 320) and grey.dtype == np.uint16
    assert grey[100, 212] == pytest.approx(65535 * 8 / 12, rel=0.01)
    assert json.loads((tmp_path / "report.json").read_text())["doubts"]["frames"] == 12
    refused = run(*words, "empty.tif", "--overwrite", cwd=tmp_path)
    assert refused.returncode == 2 and "--doubt-map" in refused.stderr
