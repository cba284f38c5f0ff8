"""Uneven light from files to the picture: found, evened, told; and left alone where it is even."""

import json

import cv2
import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine.evening import MOST_REFERENCE_FRAMES
from stacker.errors import FrameError
from stacker.light.srgb import linear_to_srgb
from tests.benchmarks.evening import Case, measure
from tests.bursts import write_tiffs
from tests.engine.test_moments import evening
from tests.same_light import assert_same_light

HEIGHT, WIDTH = 32, 48


def write_burst(folder, gains, seed=0):
    """Write 16-bit frames of one picture with little noise under gains, and return its light."""
    rng = np.random.default_rng(seed)
    still = rng.uniform(0.05, 0.5, (HEIGHT, WIDTH, 3))
    frames = []
    for gain in gains:
        light = still * gain * (1 + 0.005 * rng.standard_normal(still.shape))
        frames.append(np.rint(65535 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint16))
    write_tiffs(folder, frames)
    return still


@pytest.fixture
def gains():
    gains = np.exp(0.05 * np.random.default_rng(3).standard_normal(12))
    return gains / gains.mean()


def test_flicker_is_evened_and_told(tmp_path, gains):
    still = write_burst(tmp_path / "burst", gains)
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    shot = stacker.expose(burst, blend="lighten", even="level")
    evening = shot.report["evening"]
    json.dumps(shot.report)
    assert evening["applied"]
    assert not evening["per_channel"]
    assert evening["unevenness"] == pytest.approx(np.log(gains).std(), rel=0.1)
    found = np.array([frame["gains"][1] for frame in evening["frames"]])
    np.testing.assert_allclose(found * gains, (found * gains).mean(), rtol=5e-4)
    assert any("it is evened" in warning for warning in shot.report["warnings"])
    # the greatest of 12 values with 0.5 % of noise lies 1.6 deviations above, not at 1.08
    ratio = (shot.light / still).mean() / np.median(found * gains)
    assert ratio == pytest.approx(1.008, abs=0.002)
    plain = stacker.expose(burst, blend="lighten")
    assert (plain.light / still).mean() > 1.05
    assert "evening" not in plain.report


def test_even_light_is_left_alone_to_the_bit(tmp_path):
    write_burst(tmp_path / "burst", np.ones(10))
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    for blend in ("mean", "lighten", "median"):
        plain = stacker.expose(burst, blend=blend)
        evened = stacker.expose(burst, blend=blend, even="auto")
        assert_same_light(evened.light, plain.light)
    assert not evened.report["evening"]["applied"]
    assert evened.report["stored"] == "uint16"
    assert any("left as it is" in warning for warning in evened.report["warnings"])


def test_lamps_that_flicker_do_not_change_the_sky(tmp_path):
    cover, seen = evening(tmp_path / "evening", 0.0, flicker=0.1)
    burst = stacker.open_burst(tmp_path / "evening", frame_shutter_s=1.0)
    land = cv2.erode((cover > 0.5).astype(np.uint8), np.ones((15, 15))) > 0
    sky = cv2.dilate((cover > 0.5).astype(np.uint8), np.ones((15, 15))) == 0
    # the greatest light of frames shows flicker as it is: 10 % too much
    shots = {even: stacker.expose(burst, blend="max", even=even) for even in ("off", "ground")}
    truth = seen([0], [0])
    ratio = {even: shot.light[..., 1][land] / truth[land] for even, shot in shots.items()}
    assert np.median(ratio["off"]) > 1.08
    # what stays is noise: the greatest of 16 values lies 1.8 deviations of 2.5 % above
    assert np.median(ratio["ground"]) < 1.05
    # light that is corrected is float32, not codes: two frames that tie may change places
    above = [shot.light[sky] for shot in shots.values()]
    np.testing.assert_allclose(*above, rtol=0, atol=1e-6)
    told = shots["ground"].report["evening"]
    assert told["applied"] and told["part"] == "ground"
    strengths = 1 + 0.1 * np.sin(2.4 * np.arange(16))
    evened = np.array([frame["gains"][1] for frame in told["frames"]]) * strengths
    # 7.1 % of flicker come down to 0.8: of 16 frames some is taken for a slow change
    assert evened.std() / evened.mean() < 0.012
    # the sky fades evenly, whatever the lamps do
    alone = stacker.expose(burst, even="sky").report["evening"]
    assert alone["part"] == "sky" and not alone["applied"]


def test_without_a_skyline_the_whole_picture_is_evened(tmp_path, gains):
    write_burst(tmp_path / "burst", gains)
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    asked, auto = (stacker.expose(burst, even=even) for even in ("sky", "auto"))
    assert_same_light(asked.light, auto.light)
    assert asked.report["evening"]["part"] is None
    assert [words for words in asked.report["warnings"] if "not evened by itself" in words]


@pytest.mark.parametrize("count", [12, MOST_REFERENCE_FRAMES + 10])
def test_any_number_of_workers_gives_the_same_bits(tmp_path, count):
    gains = np.exp(0.05 * np.random.default_rng(3).standard_normal(count))
    write_burst(tmp_path / "burst", gains)
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    alone = stacker.expose(burst, even="auto", workers=1)
    several = stacker.expose(burst, even="auto", workers=3)
    assert_same_light(several.light, alone.light)
    assert several.report["evening"] == alone.report["evening"]
    found = np.array([frame["gains"][0] for frame in alone.report["evening"]["frames"]])
    assert np.std(np.diff(np.log(found * gains))) < 0.1 * np.std(np.diff(np.log(gains)))


def test_frames_that_cannot_be_read_are_left_to_the_main_pass(tmp_path, gains):
    write_burst(tmp_path / "burst", gains)
    path = tmp_path / "burst" / "KP_0005.tif"
    path.write_bytes(path.read_bytes()[:3000])
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    with pytest.raises(FrameError, match=r"KP_0005.*--on-bad skip"):
        stacker.expose(burst, even="auto")
    report = stacker.expose(burst, even="auto", on_bad="skip").report
    assert report["frames_used"] == 11
    assert report["evening"]["frames"][4] == {"number": 5, "gains": [1.0, 1.0, 1.0]}
    path.unlink()
    without = stacker.expose(stacker.open_burst(tmp_path / "burst", interval_s=1), even="level")
    skipped = stacker.expose(burst, even="level", on_bad="skip")
    assert_same_light(skipped.light, without.light)


def test_frames_outside_the_span_are_not_looked_at(tmp_path, gains):
    write_burst(tmp_path / "burst", gains)
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    report = stacker.expose(burst, even="level", first=3, last=9, without=(5,)).report
    assert [frame["number"] for frame in report["evening"]["frames"]] == [3, 4, 6, 7, 8, 9]


@pytest.mark.parametrize("count", [1, 2])
def test_hardly_a_burst(tmp_path, count):
    write_burst(tmp_path / "burst", np.array([1.0, 1.1])[:count])
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    report = stacker.expose(burst, even="auto").report
    assert report["evening"]["applied"] == (count == 2)


def test_black_frames_cannot_be_compared(tmp_path):
    write_tiffs(tmp_path / "burst", [np.zeros((HEIGHT, WIDTH, 3), np.uint8)] * 3)
    report = stacker.expose(stacker.open_burst(tmp_path / "burst"), even="auto").report
    assert not report["evening"]["applied"]
    assert any("cannot be compared" in warning for warning in report["warnings"])


def test_burnt_lamps_stay_white(tmp_path):
    gains = np.tile([0.8, 1.25], 6)
    rng = np.random.default_rng(0)
    still = rng.uniform(0.05, 0.5, (HEIGHT, WIDTH, 3))
    still[:6, :6] = 5.0
    frames = [
        np.rint(255 * linear_to_srgb(np.clip(still * gain, 0, 1))).astype(np.uint8)
        for gain in gains
    ]
    write_tiffs(tmp_path / "burst", frames)
    burst = stacker.open_burst(tmp_path / "burst", interval_s=1)
    for blend in ("mean", "median", "darken"):
        shot = stacker.expose(burst, blend=blend, even="auto")
        stacker.save(shot, tmp_path / f"{blend}.tif")
        assert tifffile.imread(tmp_path / f"{blend}.tif")[:6, :6].min() == 65535


@pytest.mark.parametrize(
    ("case", "limit"),
    # the aims by day and by night, at a size that is quick to draw
    [
        (Case("quay", 0.3, 0.03, frames=10), 0.003),
        (Case("quay", 0.5, 0.05, frames=10), 0.006),
        (Case("road", 0.3, 0.05, frames=10), 0.01),
    ],
    ids=lambda value: getattr(value, "scene", None),
)
def test_gains_of_simulated_bursts(case, limit):
    found = measure(case, (240, 160))
    assert found["gain"] < limit
    assert found["applied"]
