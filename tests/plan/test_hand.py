"""What a hand can hold, and traffic at a slant: against figures worked out by hand."""

import math

import pytest

from stacker.errors import OptionError
from stacker.plan.exposure import hand_limit_s, iso_for
from stacker.plan.facts import Facts
from stacker.plan.make import make_plan
from stacker.plan.streaks import speed_px_s


@pytest.mark.parametrize(
    ("equivalent_mm", "stops", "limit_s"),
    # the trade's rule: 1/50 s at 50 mm; three stops more are eight times as long
    [(50, 0, 1 / 50), (200, 0, 1 / 200), (50, 3, 8 / 50), (24, 1, 1 / 12)],
)
def test_the_rule_of_the_focal_length(equivalent_mm, stops, limit_s):
    assert hand_limit_s(equivalent_mm, stops) == pytest.approx(limit_s)


def test_the_rule_counts_full_frame_equivalents():
    """50 mm on a sensor of 1.5 times the crop sees what 75 mm do."""
    plan = make_plan("water", by_hand=True, focal_mm=50, sensor="APS-C 1.5")
    limit = next(each for each in plan.seen if each.name == "hand_limit")
    # the sensor's width is 23.5 mm, so the crop is 1.53
    assert limit.value == pytest.approx(1 / (50 * 36 / 23.5), rel=0.01)


@pytest.mark.parametrize(
    ("shutter_s", "ev", "iso"),
    [
        # f/8 at EV 10 and ISO 100: 64 / 1024 = 1/16 s; 1/64 s wants two stops more
        (1 / 16, 10, 100),
        (1 / 64, 10, 400),
        # more than enough light: the dial begins at 100
        (1.0, 10, 100),
        # and the program proposes no more than 6400
        (1 / 1000, 0, 6400),
    ],
)
def test_iso_for_a_shutter_at_f8(shutter_s, ev, iso):
    assert iso_for(shutter_s, 8.0, ev) == iso


def test_by_hand_raises_iso_until_a_hand_can_hold_the_frames():
    plan = make_plan("water", by_hand=True, focal_mm=100)
    assert plan.frame_shutter_s <= 1 / 100
    # f/11 at EV 10: 121 / 1024 s at ISO 100, 11.8 times too long
    assert plan.iso == 1250
    assert abs(plan.brighter_stops) < 0.5
    assert not any("No hand" in each for each in plan.warnings)
    assert not any("Tripod" in each for each in plan.camera)


def test_a_frame_no_hand_can_hold_is_told():
    plan = make_plan("water", by_hand=True, focal_mm=100, iso=100)
    # 1/8 s for 1/100 s
    told = next(each for each in plan.warnings if "No hand" in each)
    assert f"{math.log2(100 / 8):.1f} stops" in told


def test_a_stabiliser_lengthens_it():
    without = make_plan("crowd", by_hand=True, ev=8)
    with_it = make_plan("crowd", by_hand=True, stabiliser_stops=3, ev=8)
    assert with_it.iso < without.iso


@pytest.mark.parametrize(
    "known",
    [
        {"subject": "water", "stabiliser_stops": 3},
        {"subject": "water", "by_hand": True, "stabiliser_stops": 11},
        {"subject": "pan", "by_hand": True},
        {"subject": "traffic", "angle_deg": 91},
        {"subject": "dusk", "morning": True},
    ],
)
def test_what_makes_no_sense_is_one_sentence(known):
    with pytest.raises(OptionError) as error:
        Facts(**known)
    assert error.value.remedy


def test_traffic_at_a_slant_goes_across_by_the_sine():
    """50 km/h, 40 m away, 35 mm and 6 um: 13.89 / 40 x 35000 / 6 = 2025 px/s square to the view;
    at 30 degrees to the line of sight half of it."""
    square = speed_px_s(50 / 3.6, 40, 35, 6.0)
    assert square == pytest.approx(2025, abs=1)
    assert speed_px_s(50 / 3.6, 40, 35, 6.0, 30) == pytest.approx(square / 2)
    assert speed_px_s(50 / 3.6, 40, 35, 6.0, 0) == 0


def test_the_plan_takes_the_angle():
    square, slant = (make_plan("traffic", angle_deg=angle) for angle in (None, 30))
    lengths = [next(e.value for e in each.seen if e.name == "streak") for each in (square, slant)]
    assert lengths[1] == pytest.approx(lengths[0] / 2)
    head_on = make_plan("traffic", angle_deg=0)
    assert any("no gaps" in each.text for each in head_on.seen)
