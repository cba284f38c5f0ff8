"""Fireworks of which some are kept: what is left out, and what is told."""

import numpy as np
import pytest
import tifffile

import stacker
from stacker.errors import OptionError


@pytest.fixture
def burst(tmp_path):
    """Twelve frames: shells in frames 3, 6 and 10, the second over the first."""
    (tmp_path / "show").mkdir()
    rng = np.random.default_rng(5)
    for number in range(1, 13):
        frame = rng.normal(8, 1, (80, 120, 3))
        for start, column in ((3, 10), (6, 14), (10, 80)):
            if start == number:
                frame[20:50, column : column + 30] = 230
        codes = np.clip(frame, 0, 255).astype(np.uint8)
        tifffile.imwrite(tmp_path / "show" / f"KP_{number:04d}.tif", codes)
    return stacker.open_burst(tmp_path / "show")


@pytest.mark.parametrize("wanted", [2, "auto"])
def test_two_that_do_not_overlap_are_kept(burst, wanted):
    shot = stacker.expose(burst, subject="fireworks", keep_bursts=wanted)
    bursts = shot.report["bursts"]
    assert [each["peak"] for each in bursts] == ["KP_0003.tif", "KP_0006.tif", "KP_0010.tif"]
    assert sum(each["kept"] for each in bursts) == 2 and bursts[2]["kept"]
    dropped = [f["name"] for f in shot.report["frames"] if not f["used"]]
    assert dropped == [each["peak"] for each in bursts if not each["kept"]]
    assert any("2 of 3 bursts are kept" in words for words in shot.report["warnings"])
    assert shot.light[30, 90].min() > 0.5


def test_more_than_there_are_keep_all(burst):
    shot = stacker.expose(burst, blend="lighten", keep_bursts=9)
    assert shot.report["frames_used"] == 12


@pytest.mark.parametrize("wrong", [0, -1, "some"])
def test_what_is_no_number_is_refused(burst, wrong):
    with pytest.raises(OptionError, match="--keep-bursts"):
        stacker.expose(burst, keep_bursts=wrong)
