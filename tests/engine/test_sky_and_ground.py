"""Sky and ground in one picture: trails over a quiet ground, points over a sharp one."""

import cv2
import numpy as np
import pytest

import stacker
from stacker.engine import Region
from stacker.errors import OptionError, OutputError
from stacker.scenes.render import BurstPlan, _Studio
from stacker.scenes.stage import build_scene
from stacker.survey.likeness import psnr
from tests.bursts import write_jpegs
from tests.same_light import assert_same_light

SIZE, FRAMES = (420, 280), 8


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """A burst of stars, the cover of the ground, and what gives a frame without noise."""
    folder = tmp_path_factory.mktemp("night")
    plan = BurstPlan(
        name="stars", frames=FRAMES, size=SIZE, seed=2, shutter_s=120.0, interval_s=126.0,
        tremor_px=0.0, file_format="jpg",
    )  # fmt: skip
    scene = build_scene("stars", plan.view())
    studio = _Studio(plan, scene)
    for number, path in enumerate(plan.frame_paths(folder)):
        studio.frame(number, path)

    def seen(number):
        start = plan.start_s(number)
        return scene.camera.through_lens(scene.light(start, start + plan.shutter_s))

    return stacker.open_burst(folder), scene.ground(), seen


@pytest.fixture(scope="module")
def trails(night):
    return stacker.expose(night[0], subject="star-trails", bridge=False)


@pytest.fixture(scope="module")
def points(night):
    return stacker.expose(night[0], subject="stars")


def deep(mask):
    """Return where a mask is white, five pixels within its border."""
    return cv2.erode((mask == 65535).astype(np.uint8), np.ones((11, 11))) > 0


def test_trails_over_a_quiet_ground(night, trails):
    burst = night[0]
    mean = stacker.expose(burst, hold="still")
    plain = {"blend": "lighten", "floor": "true", "hold": "still", "even": "auto"}
    lighten = stacker.expose(burst, **plain)
    ground, sky = deep(trails.masks["ground"]), deep(~trails.masks["ground"])
    assert_same_light(trails.light[ground][None], mean.light[ground][None])
    assert_same_light(trails.light[sky][None], lighten.light[sky][None])
    assert trails.report["warnings"] == lighten.report["warnings"]


def test_the_mask_is_the_ground(night, trails):
    found, true = trails.masks["ground"] > 32767, night[1] > 0.5
    # a picture this small: a row along the skyline is 2 % of the ground
    for one, other, least in ((found, true, 0.94), (~found, ~true, 0.98)):
        assert (one & other).sum() / (one | other).sum() > least
    (told,) = trails.report["regions"]
    assert told["mask"] == "ground"
    assert told["told_by"] == "its stars"
    assert told["said"] == "ground=blend mean, no-bridge"
    assert trails.report["subject"]["chose"]["regions"] == [told["said"]]


def test_points_over_a_sharp_ground(night, points):
    burst, _, seen = night
    still = stacker.expose(burst)
    assert points.size == SIZE
    ground = deep(points.masks["ground"])
    # the ground is that of frames as they lie, to the bit
    assert_same_light(points.light[ground][None], still.light[ground][None])
    # held stars are those of the frame that they are held to; wandering ones are not
    sky = deep(~points.masks["ground"])
    truth = seen([f["name"] for f in points.report["frames"]].index(points.report["reference"]))
    near, far = (psnr(shot.light[sky][None], truth[sky][None]) for shot in (points, still))
    assert near > far + 6
    assert points.report["hold"] == "sky"


def test_no_smear_beside_the_skyline(night, points):
    """Behind a lighthouse and a wood that stand still, the sky that is held is as dark as sky."""
    burst, cover, _ = night
    held = points.light.mean(axis=2)
    still = stacker.expose(burst, blend="median").light.mean(axis=2)
    near = (cv2.dilate(cover, np.ones((13, 13))) > 0.5) & (cv2.dilate(cover, np.ones((3, 3))) < 0.1)
    ratio = cv2.blur(held, (3, 3))[near] / cv2.blur(still, (3, 3))[near]
    # the mean of nine pixels of eight frames has a noise of some 4 %
    assert np.percentile(ratio, 1) > 0.8
    assert np.median(ratio) == pytest.approx(1, abs=0.08)


def test_a_subject_without_a_skyline_is_made_as_a_whole(tmp_path):
    write_jpegs(tmp_path / "burst", 6)
    burst = stacker.open_burst(tmp_path / "burst")
    shot = stacker.expose(burst, subject="star-trails")
    whole = stacker.expose(burst, subject="star-trails", regions=())
    assert_same_light(shot.light, whole.light)
    assert any("no skyline was found" in each for each in shot.report["warnings"])
    with pytest.raises(OptionError) as found:
        stacker.expose(burst, regions=(Region(mask="sky", blend="lighten"),))
    assert found.value.code == "region-not-found"
    assert "too few" in found.value.why


def test_other_words_than_the_subjects_leave_its_regions_out(night):
    shot = stacker.expose(night[0], subject="star-trails", blend="max", first=7)
    assert "regions" not in shot.report


def test_masks_are_written_and_given_back(night, trails, tmp_path):
    folder = tmp_path / "masks"
    (written,) = stacker.save_masks(trails, folder)
    assert written == folder / "ground.png"
    with pytest.raises(OutputError) as found:
        stacker.save_masks(trails, folder)
    assert found.value.code == "output-exists"
    region = Region(mask=written, blend="mean")
    again = stacker.expose(night[0], subject="star-trails", bridge=False, regions=(region,))
    assert_same_light(again.light, trails.light)


def test_every_mask_that_is_asked_for(night):
    shot = stacker.expose(night[0], masks=("sky", "ground", "moving", "still"))
    assert_same_light(shot.light, stacker.expose(night[0]).light)
    for one, other in (("sky", "ground"), ("moving", "still")):
        assert (shot.masks[one] == ~shot.masks[other]).all()
