"""Moments: the frames about the balance of a dusk, or about a time by the frames' own clock."""

from datetime import datetime, timedelta

import cv2
import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine import Region
from stacker.engine.preview import expose_preview
from stacker.engine.settings import Settings
from stacker.engine.settings_file import Chosen
from stacker.errors import OptionError
from stacker.light.srgb import linear_to_srgb
from stacker.light.white_balance import WhiteBalance, apply_balance, balance_of_warmth
from stacker.scenes.render import BurstPlan, _Studio
from stacker.scenes.stage import build_scene
from stacker.survey.likeness import psnr
from tests.bursts import write_tiffs
from tests.engine.test_dusk import write_dusk
from tests.same_light import assert_same_light


@pytest.fixture(scope="module")
def dusk(tmp_path_factory):
    """Twenty frames from 18:20 on, a minute apart; the balance is at 18:28."""
    folder = tmp_path_factory.mktemp("dusk") / "dusk"
    write_dusk(folder)
    return stacker.open_burst(folder, frame_shutter_s=1.0)


def test_auto_is_the_span_that_is_told(dusk):
    told = stacker.expose(dusk, subject="dusk").report["balance"]
    shot = stacker.expose(dusk, moment="auto")
    (found,) = shot.report["moments"]
    assert (found["first"], found["last"]) == (told["first"], told["last"])
    assert found["clock"].startswith(("18:27", "18:28")) and found["mask"] is None
    # a quarter of a stop on either side is a minute each
    assert 2 <= found["last"] - found["first"] + 1 <= 3
    alone = stacker.expose(dusk, first=found["first"], last=found["last"])
    assert_same_light(shot.light, alone.light)
    note = f"sky and lamps balance at {found['clock']}: frames {found['first']} to {found['last']}"
    assert [words for words in shot.report["warnings"] if words.startswith(note)]
    # what stands in the report makes the picture again
    assert (shot.report["settings"]["first"], shot.report["settings"]["moment"]) == (8, None)


@pytest.mark.parametrize(
    ("asked", "span"),
    [("18:25", (5, 7)), ("18:25:31", (6, 7)), ("18:20", (1, 2)), ("18:19:30", (1, 2)),
     ("18:40", (19, 20))],
)  # fmt: skip
def test_a_time_is_that_of_the_frames_own_clock(dusk, asked, span):
    # four minutes a stop: frames a minute before and after lie just within a quarter of a stop
    (found,) = stacker.expose(dusk, moment=asked).report["moments"]
    assert abs(found["first"] - span[0]) + abs(found["last"] - span[1]) <= 1
    assert found["by"] == "a quarter of a stop"


def still_light(folder, start, count=12, step_s=20):
    folder.mkdir()
    pixels = np.full((32, 48, 3), 90, np.uint8)
    for number in range(count):
        taken = start + timedelta(seconds=step_s * number)
        tifffile.imwrite(folder / f"KP_{number + 1:04d}.tif", pixels, datetime=taken)
    return stacker.open_burst(folder, frame_shutter_s=1.0)


def test_past_midnight_and_where_light_stays_a_minute_is_taken(tmp_path):
    burst = still_light(tmp_path / "night", datetime(2025, 10, 4, 23, 58))
    (found,) = stacker.expose(burst, moment="0:00").report["moments"]
    assert (found["clock"], found["by"]) == ("00:00:00", "a minute")
    # 20 s apart: the seventh frame, and one before and after it
    assert (found["first"], found["last"]) == (6, 8)


@pytest.mark.parametrize(
    ("said", "code"),
    [({"moment": "18:45"}, "option-moment"), ({"moment": "7 pm"}, "option-value"),
     ({"moment": "24:00"}, "option-value"), ({"moment": "auto", "first": 3}, "option-span"),
     ({"moment": "18:25", "shutter_s": 3.0}, "option-span")],
)  # fmt: skip
def test_what_is_no_moment_is_refused_in_a_sentence(dusk, said, code):
    with pytest.raises(OptionError) as found:
        stacker.expose(dusk, **said)
    assert found.value.code == code and found.value.remedy
    region = {"mask": "ground", **said}
    with pytest.raises(OptionError) as found:
        stacker.expose(dusk, regions=(region,))
    assert found.value.code == code and found.value.where.startswith("--region ground")


def test_where_no_balance_is_told_the_clock_is_offered(tmp_path):
    burst = still_light(tmp_path / "still", datetime(2025, 10, 4, 18, 0))
    with pytest.raises(OptionError, match="less than half a stop") as found:
        stacker.expose(burst, moment="auto")
    assert "a time from 18:00:00 to 18:03:40" in found.value.remedy


def test_frames_without_a_clock_have_no_time(tmp_path):
    write_tiffs(tmp_path / "burst", [np.full((32, 48, 3), 90, np.uint8)] * 4)
    burst = stacker.open_burst(tmp_path / "burst")
    with pytest.raises(OptionError, match="do not tell when"):
        stacker.expose(burst, moment="18:00")


def test_only_an_exposure_has_moments(dusk):
    with pytest.raises(OptionError, match="is for stacker expose alone"):
        stacker.ladder(dusk, moment="auto")


def test_a_preview_is_of_the_same_moment(dusk):
    settings = Settings(moment="auto")
    (shot,) = expose_preview(dusk, settings).values()
    whole = stacker.expose(dusk, moment="auto")
    assert shot.report["moments"] == whole.report["moments"]


def test_a_span_that_is_said_takes_the_place_of_a_saved_moment():
    saved = Chosen({"moment": "auto"})
    assert saved.under({"last": 4}, None).settings == Settings(last=4)
    assert Chosen({"first": 2}).under({"moment": "21:21"}, None).settings.first is None


@pytest.fixture(scope="module")
def lower(tmp_path_factory):
    mask = np.zeros((64, 96), np.uint8)
    mask[32:] = 255
    path = str(tmp_path_factory.mktemp("mask") / "lower.png")
    cv2.imwrite(path, mask)
    return path


def test_a_region_has_its_own_moment_or_its_own_span(dusk, lower):
    region = Region(mask=lower, moment="18:35", feather_px=0)
    span = Region(mask=lower, last=4, feather_px=0)
    mixed = stacker.expose(dusk, moment="auto", regions=(region,))
    main, own = mixed.report["moments"]
    assert (main["mask"], own["mask"]) == (None, lower)
    parts = [stacker.expose(dusk, first=each["first"], last=each["last"]) for each in (main, own)]
    assert_same_light(mixed.light[:32], parts[0].light[:32])
    assert_same_light(mixed.light[32:], parts[1].light[32:])
    mixed = stacker.expose(dusk, moment="auto", regions=(span,))
    assert_same_light(mixed.light[32:], stacker.expose(dusk, last=4).light[32:])


@pytest.mark.parametrize("said", [{"warmth": -20.0}, {"gains": (1.1, 1.0, 0.8)}])
def test_a_region_is_balanced_before_it_is_mixed(dusk, lower, said):
    shot = stacker.expose(dusk, last=4, regions=(Region(mask=lower, feather_px=8, **said),))
    plain = stacker.expose(dusk, last=4)
    balance = (
        balance_of_warmth(said["warmth"], plain.space)
        if "warmth" in said
        else WhiteBalance(said["gains"])
    )
    tinted = apply_balance(balance, plain.light, plain.space)
    assert_same_light(shot.light[60:], tinted[60:])
    assert_same_light(shot.light[:4], plain.light[:4])
    # in between light is mixed: all channels by the same share
    share = (shot.light[30] - plain.light[30]) / (tinted[30] - plain.light[30])
    np.testing.assert_allclose(share[..., 0], share[..., 2], atol=2e-3)
    assert 0.1 < share.mean() < 0.6
    assert shot.brightest == pytest.approx(balance.greatest_gain(plain.space))


def evening(folder, glow, flicker=0.0):
    """Write a sky that fades by 2.5 stops above a ridge with lamps; return its truth.

    The ground has ``glow`` of the sky's light besides; the lens blurs by 0.7 pixels. Lamps flicker
    by a share of their light, which the truth does not.
    """
    rng = np.random.default_rng(3)
    height, width, frames = 240, 360, 16
    y, x = np.mgrid[0:height, 0:width]
    ridge = 150 + 8 * np.sin(x / 23.0) - 12 * (np.abs(x - 130) < 9) - 0.12 * (x - 180) * (x > 180)
    cover = np.clip(y - ridge + 0.5, 0, 1)
    lamps = cv2.GaussianBlur(rng.uniform(0.06, 0.36, (height, width)), (0, 0), 1.5)

    def seen(sky_of, ground_of, strength=1.0):
        fades = [
            np.mean([2.0 ** (-2.5 * number / (frames - 1)) for number in numbers])
            for numbers in (sky_of, ground_of)
        ]
        sky = 0.4 * (0.6 + 0.4 * y / height) * fades[0]
        mixed = cover * (strength * lamps + glow * fades[1]) + (1 - cover) * sky
        return cv2.GaussianBlur(mixed, (0, 0), 0.7)

    folder.mkdir()
    for number in range(frames):
        light = seen([number], [number], 1 + flicker * np.sin(2.4 * number))
        light = light + rng.normal(0, 1, light.shape) * np.sqrt(light / 8000)
        codes = np.rint(65535 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint16)
        taken = datetime(2025, 10, 4, 21, 8) + timedelta(minutes=number)
        path = folder / f"KP_{number + 1:04d}.tif"
        tifffile.imwrite(path, np.dstack([codes] * 3), datetime=taken)
    return cover, seen


@pytest.mark.parametrize("glow", [0.0, 0.01])
def test_two_moments_meet_at_a_skyline_that_is_found_without_a_line(tmp_path, glow):
    cover, seen = evening(tmp_path / "evening", glow)
    burst = stacker.open_burst(tmp_path / "evening", frame_shutter_s=1.0)
    shot = stacker.expose(burst, moment="21:10", regions=(Region(mask="ground", moment="21:21"),))
    truth = seen(*(range(m["first"] - 1, m["last"]) for m in shot.report["moments"]))
    light = shot.light[..., 1]
    beside = cv2.boxFilter((cover > 0.5).astype(np.float32), -1, (7, 7))
    strip = (beside > 0.01) & (beside < 0.99)
    error = (light - truth)[strip]
    # 0.0036 with the sky reaching over the edge, 0.024 with the edge of either, of a sky of 0.25
    assert np.sqrt(np.mean(error**2)) < 0.008
    # a line would be darker or brighter than all that truth has near by
    window = np.ones((7, 7))
    beyond = np.maximum(light - cv2.dilate(truth, window), cv2.erode(truth, window) - light)
    assert np.mean(beyond[strip] > 0.015) < 0.002


def test_the_town_of_a_later_moment_under_an_earlier_sky(tmp_path):
    plan = BurstPlan(
        name="dusk", frames=16, size=(240, 160), seed=2, shutter_s=2.0, interval_s=90.0,
        tremor_px=0.0, file_format="jpg",
    )  # fmt: skip
    scene = build_scene("dusk", plan.view())
    studio = _Studio(plan, scene)
    (tmp_path / "dusk").mkdir()
    for number, path in enumerate(plan.frame_paths(tmp_path / "dusk")):
        studio.frame(number, path)
    cover = np.asarray(scene.ground())
    cv2.imwrite(str(tmp_path / "ground.png"), np.rint(255 * cover).astype(np.uint8))
    burst = stacker.open_burst(tmp_path / "dusk")
    region = Region(mask=str(tmp_path / "ground.png"), moment="21:28")
    shot = stacker.expose(burst, moment="21:12", regions=(region,))

    def seen(found):
        starts = [plan.start_s(number) for number in range(found["first"] - 1, found["last"])]
        return np.mean(
            [scene.camera.through_lens(scene.light(t, t + plan.shutter_s)) for t in starts], axis=0
        )

    early, late = (seen(found) for found in shot.report["moments"])
    truth = np.asarray(early + cover[..., None] * (late - early), np.float32)
    # 47 dB, the noise of three JPEGs and their 8 bits; either moment alone is 14 to 15 dB off
    assert psnr(shot.light, truth) > 44
    assert max(psnr(early, truth), psnr(late, truth)) < 20
