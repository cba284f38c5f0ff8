"""From what is known to the plan."""

import dataclasses
import json
import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

import stacker
from stacker.plan import SUBJECTS, cautions_for, make_plan
from stacker.plan.camera import camera_settings
from stacker.plan.cautions import BY_SUBJECT, CAUTIONS, LAST_WORD

# Kestrel Point does not exist; if it did, it would look west over the Irish Sea
KESTREL_POINT = {"latitude_deg": 54.5, "longitude_deg": -3.6, "zone": "Europe/London"}


def figure(plan, name):
    return next(finding.value for finding in plan.seen if finding.name == name)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_every_subject_is_answered_with_nothing_known(subject):
    plan = stacker.plan(subject)
    assert plan.frames >= 1
    assert plan.open_s == pytest.approx(plan.frames * plan.frame_shutter_s)
    assert plan.interval_s == pytest.approx(plan.frame_shutter_s + plan.gap_s)
    assert plan.elapsed_s >= plan.open_s - 1e-9
    assert plan.seen and plan.camera and plan.why and plan.evening is None
    assert plan.cautions[-1] == LAST_WORD
    told = [each.option for each in plan.assumed]
    assert len(told) == len(set(told)) >= 5
    assert {"--focal-length", "--aperture", "--iso", "--sensor", "--ev"} <= set(told)
    # what is assumed comes out the same when it is told
    again = stacker.plan(subject, focal_mm=plan.focal_mm, aperture=plan.aperture, iso=plan.iso)
    assert (again.frames, again.frame_shutter_s) == (plan.frames, plan.frame_shutter_s)
    assert len(again.assumed) == len(plan.assumed) - 3


@pytest.mark.parametrize("subject", SUBJECTS)
def test_a_plan_is_plain_values_for_json(subject):
    plan = make_plan(subject, **KESTREL_POINT, date=date(2026, 10, 20))
    kept = json.loads(json.dumps(plan.to_dict(), allow_nan=False))
    assert kept["format"] == 1 and kept["subject"] == subject
    assert kept["evening"]["date"] == "2026-10-20"
    assert kept["evening"]["sunset"].startswith("2026-10-20T18:0")
    fields = {each.name for each in dataclasses.fields(plan)}
    assert set(kept) == fields | {"format"}
    with pytest.raises(dataclasses.FrozenInstanceError):
        plan.frames = 3


def test_the_room_is_the_function_before_and_after_its_parts_are_imported():
    from stacker.plan import stars  # noqa: F401

    assert stacker.plan("water").subject == "water"
    assert stacker.plan.make_plan is make_plan


def test_subjects_tables_agree():
    assert set(BY_SUBJECT) == set(SUBJECTS)
    assert {name for names in BY_SUBJECT.values() for name in names} == set(CAUTIONS)
    for subject in SUBJECTS:
        assert len(cautions_for(subject)) >= 2
        assert all(each.endswith(".") for each in camera_settings(subject))


def test_traffic_by_hand():
    """20 frames of 3 s every 4 s: 60 s open within 19 x 4 + 3 = 79 s, a filter of 4.3 stops."""
    plan = make_plan("traffic", frames=20, frame_shutter_s=3, interval_s=4, frame_bytes=25e6)
    assert (plan.open_s, plan.elapsed_s, plan.gap_s) == (60, 79, 1)
    assert plan.filter.stops == pytest.approx(4.3219, abs=1e-4)
    assert plan.storage.card_bytes == 500e6
    assert any("notches" in warning for warning in plan.warnings)


def test_what_is_left_out_of_the_times_follows():
    shared = make_plan("water", open_s=60, frames=20)
    assert shared.frame_shutter_s == 3
    spread = make_plan("crowd", frames=31, elapsed_s=600, frame_shutter_s=0.01)
    assert spread.interval_s == pytest.approx(599.99 / 30)
    counted = make_plan("star-trails", elapsed_s=3600, frame_shutter_s=30, interval_s=31)
    assert counted.frames == 116  # (3600 - 30) / 31 = 115.2 further frames fit
    metered = make_plan("traffic", metered_s=2.5, open_s=30)
    assert metered.frame_shutter_s == 2.5 and metered.frames == 12


def test_the_light_sets_the_shutter():
    """f/8 at ISO 100 in EV 6 is one second; in EV 16 a thousandth."""
    assert make_plan("water", aperture=8, ev=6).frame_shutter_s == 1
    assert make_plan("water", aperture=8, ev=16).frame_shutter_s == 1 / 1000
    dark = make_plan("water", aperture=8, ev=-5)
    assert dark.frame_shutter_s == 30
    assert any("darker than the meter wants" in warning for warning in dark.warnings)


def test_water_is_silk_by_default():
    plan = make_plan("water")
    assert figure(plan, "contrast") == pytest.approx(0.1, abs=0.005)
    few = make_plan("water", frames=4)
    assert figure(few, "contrast") == pytest.approx(0.5, abs=0.01)
    assert "100 such frames" in few.seen[0].text
    still = make_plan("water", flow_m_s=0)
    assert figure(still, "contrast") == 1


def test_the_tide_by_hand():
    """1.2 m in an hour are 10 cm in five minutes."""
    plan = make_plan("water", tide_m_h=1.2, frames=2, interval_s=299, frame_shutter_s=1)
    assert figure(plan, "tide") == pytest.approx(0.1)


def test_stars_by_hand():
    """24 mm, 6 um, f/2.8: a star is hypot(2, 1.03 x 0.55 x 2.8 / 6) = 2.017 px wide, which the
    equator's drift by in 2.017 x 51.566 / 15.0411 = 6.916 s; the dial has 6 s."""
    plan = make_plan("stars", focal_mm=24, aperture=2.8, sensor="full frame", pixels=(6000, 4000))
    assert figure(plan, "longest_shutter") == pytest.approx(6.916, abs=0.002)
    assert plan.frame_shutter_s == 6
    assert figure(plan, "drift") == pytest.approx(6 * 15.0411 / 51.566, abs=0.001)
    assert figure(plan, "rules_of_thumb") == pytest.approx(6.08, abs=0.01)
    strict = make_plan("stars", focal_mm=24, blur_px=1)
    assert figure(strict, "longest_shutter") == pytest.approx(3.428, abs=0.002)


def test_stars_about_the_pole_by_hand():
    """The corner, atan(21.63 / 500) = 2.477 degrees off, drifts by 0.0432 of the equator's way:
    2.017 x 2.4752 / (15.0411 x 0.04322) = 7.68 s."""
    plan = make_plan("stars", declination_deg=90, focal_mm=500)
    assert figure(plan, "longest_shutter") == pytest.approx(7.68, abs=0.02)
    assert plan.frame_shutter_s == 6


def test_pixel_pitch_and_megapixels_say_the_same():
    pitched = make_plan("stars", sensor="APS-C 1.5", pitch_um=3.92)
    counted = make_plan("stars", sensor="APS-C 1.5", megapixels=23.86)
    assert pitched.sensor.pixels[0] == pytest.approx(counted.sensor.pixels[0], abs=3)
    alone = make_plan("stars", pixels=(6000, 4000), pitch_um=3.9)
    assert alone.sensor.width_mm == pytest.approx(23.4)
    assert "--sensor" not in [each.option for each in alone.assumed]


def test_star_trails_by_hand():
    """An hour of 119 frames turns 15.0 degrees; at 20 mm and 6 um 0.2431 px/s on the equator."""
    plan = make_plan("star-trails", focal_mm=20)
    assert plan.frames == 119
    assert figure(plan, "arc") == pytest.approx(15.0411 * plan.elapsed_s / 3600, abs=1e-3)
    assert figure(plan, "arc_length") == pytest.approx(0.24307 * plan.elapsed_s, rel=1e-3)
    assert not plan.warnings
    slow = make_plan("star-trails", focal_mm=20, gap_s=5)
    assert any("interval timer" in warning for warning in slow.warnings)


@given(st.floats(0, 90))
def test_star_trails_are_alike_in_both_hemispheres(declination):
    north, south = (
        make_plan("star-trails", declination_deg=d) for d in (declination, -declination)
    )
    assert figure(north, "arc_length") == figure(south, "arc_length")


@given(st.sampled_from(sorted(SUBJECTS)), st.integers(1, 400))
def test_more_frames_mean_more_open_time_and_less_noise(subject, frames):
    fewer, more = (
        make_plan(subject, frames=count, read_noise_e=0) for count in (frames, frames + 1)
    )
    assert more.open_s > fewer.open_s and more.elapsed_s > fewer.elapsed_s
    assert more.storage.card_bytes > fewer.storage.card_bytes
    assert more.noise.gain == pytest.approx(math.sqrt(frames + 1))


def test_dusk_lasts_from_before_the_balance_until_after_it():
    plan = make_plan("dusk", **KESTREL_POINT, date=date(2026, 10, 20))
    balance = (plan.evening.balance_to - plan.evening.balance_from).total_seconds()
    assert plan.elapsed_s == pytest.approx(balance + 1200, abs=15)
    # log10 of lux at x = altitude / 90 degrees (Explanatory Supplement to the Astronomical
    # Almanac): 2.88 + 21.81 x - 258.11 x^2 - 858.36 x^3 = 1.476 at -4 degrees,
    # 2.70 + 12.17 x - 431.69 x^2 - 1899.83 x^3 = 0.036 at -7: 4.78 stops
    assert figure(plan, "fade") == pytest.approx(balance / 60 / 4.78, rel=0.005)
    assert "--first 79 --last 86" in plan.command


def test_nights_that_do_not_get_dark_are_told():
    summer = make_plan("stars", **KESTREL_POINT, date=date(2026, 6, 21))
    assert any("the sun goes no lower than -12" in warning for warning in summer.warnings)
    full_moon = make_plan("stars", **KESTREL_POINT, date=date(2024, 10, 17))
    assert any("the moon is up" in warning for warning in full_moon.warnings)
    short = make_plan("star-trails", **KESTREL_POINT, date=date(2026, 10, 20), elapsed_s=8 * 3600)
    assert any("The dark lasts for 4 h" in warning for warning in short.warnings)


def test_a_dusk_that_does_not_come_is_told():
    plan = make_plan("dusk", latitude_deg=69.65, longitude_deg=18.96, date=date(2025, 6, 21))
    assert plan.frames == 160 and "do not balance" in plan.warnings[0]


def test_the_evening_is_today_if_no_date_is_told():
    plan = make_plan("dusk", **KESTREL_POINT)
    assert plan.evening.date == date.today()
    assert "--date" in [each.option for each in plan.assumed]


def test_warnings_where_they_fit():
    fast = make_plan("water", frames=200, interval_s=0.2, frame_bytes=40e6)
    assert any("200 MB each second" in warning for warning in fast.warnings)
    many = make_plan("water", ev=15, open_s=60)
    assert any("frames are many" in warning for warning in many.warnings)
    phone = make_plan("stars", sensor="phone", focal_mm=24)
    assert any("--focal-length 6.8" in warning for warning in phone.warnings)
    assert "no burst" in make_plan("water", frames=1).warnings[0]
    cards = make_plan("water", frames=10, frame_bytes=1e9, card_bytes=4e9)
    assert any("3 such cards" in warning for warning in cards.warnings)


def test_small_sensors_get_the_same_view():
    """35 mm for 36 mm of width is 22.8 for 23.5, and 9.5 for a phone's 9.8."""
    assert make_plan("water", sensor="APS-C").focal_mm == 23
    phone = make_plan("water", sensor="phone")
    assert (phone.focal_mm, phone.aperture) == (9.5, 1.8)


def test_a_pan_is_a_clip_unless_gaps_are_told_of():
    assert make_plan("pan").sensor.pixels == (3840, 2160)
    burst = make_plan("pan", gap_s=0.1)
    assert burst.sensor.pixels == (6000, 4000)
    assert figure(burst, "gap") > 100
