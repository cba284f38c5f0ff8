"""``--for many-of-one``: the picture against its ideal, visibilities, and too few frames."""

import numpy as np
import pytest

import stacker
from stacker.errors import OptionError
from stacker.survey.likeness import psnr
from tests.benchmarks.one_walker import shoot_one_walker


@pytest.fixture(scope="module")
def walker(tmp_path_factory):
    folder = tmp_path_factory.mktemp("walker") / "burst"
    return shoot_one_walker(folder, 1, (240, 160)), stacker.open_burst(folder)


@pytest.mark.parametrize("weights", [None, (1, 0.4, 0.4, 0.4, 1), (0.3,) * 5])
def test_poses_come_near_the_drawn_picture(walker, weights):
    scene, burst = walker
    shot = stacker.expose(burst, subject="many-of-one", weights=weights)
    truth = scene.ideal(weights or (1.0,) * 5)
    # the aim of every subject; JPEG's own loss leaves 45 dB at twice the size
    assert psnr(shot.light, truth) >= 36
    assert psnr(shot.light, truth) > psnr(stacker.expose(burst).light, truth)


def test_what_is_told(walker):
    shot = stacker.expose(walker[1], subject="many-of-one", weights=(1, 0.4, 1, 0, 1))
    assert shot.report["poses"] == {
        "over_each_other": "later over earlier",
        "visible": {
            "KP_0001.jpg": 1.0, "KP_0002.jpg": 0.4, "KP_0003.jpg": 1.0, "KP_0005.jpg": 1.0,
        },
    }  # fmt: skip
    assert shot.report["frames"][3]["why"] == "left out as asked"
    # elsewhere weights are relative, here they are not
    faint = stacker.expose(walker[1], blend="poses", weights=(0.4,) * 5)
    assert set(faint.report["poses"]["visible"].values()) == {0.4}
    assert "poses" not in stacker.expose(walker[1]).report


def test_nothing_is_more_than_visible(walker):
    with pytest.raises(OptionError, match="from 0 to 1 for poses"):
        stacker.expose(walker[1], subject="many-of-one", weights=(1, 2, 1, 1, 1))


def test_two_frames_are_made_and_a_third_is_asked_for(walker):
    shot = stacker.expose(walker[1], subject="many-of-one", last=2)
    assert any("shoot three or more" in words for words in shot.report["warnings"])
    whole = stacker.expose(walker[1], subject="many-of-one")
    assert not any("shoot three or more" in words for words in whole.report["warnings"])


def test_workers_change_no_bit(walker):
    one, three = (
        stacker.expose(walker[1], subject="many-of-one", workers=workers).light
        for workers in (1, 3)
    )
    np.testing.assert_array_equal(one, three)
