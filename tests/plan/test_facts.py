"""What cannot be is refused in one sentence."""

import math
from datetime import date

import pytest

from stacker.errors import OptionError
from stacker.plan import Facts, plan_of
from stacker.plan.facts import SPANS


@pytest.mark.parametrize(("name", "span"), SPANS.items(), ids=list(SPANS))
def test_every_number_has_ends(name, span):
    option, least, greatest = span
    for wrong in (least - 1, 1.01 * greatest + 1, math.nan, math.inf):
        with pytest.raises(OptionError, match="makes no sense here") as caught:
            Facts(subject="water", **{name: wrong})
        assert str(caught.value).startswith(option)


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ({"ev": 5, "metered_s": 1}, "--ev and --metered: say the same thing twice"),
        ({"interval_s": 5, "gap_s": 1}, "--interval and --gap"),
        ({"pixels": (600, 400), "megapixels": 24}, "--pixels"),
        ({"open_s": 5, "elapsed_s": 9}, "--shutter and --elapsed: say twice"),
        ({"frames": 5, "open_s": 5, "frame_shutter_s": 2}, "--frames and --shutter"),
        ({"frames": 5, "open_s": 5, "elapsed_s": 9}, "say twice"),
        ({"frames": 5, "elapsed_s": 9, "gap_s": 1}, "set the interval already"),
        ({"frames": 5, "elapsed_s": 0.1, "frame_shutter_s": 1}, "--elapsed"),
        ({"elapsed_s": 0.1, "frame_shutter_s": 1}, "shorter than one frame"),
        ({"interval_s": 1, "frame_shutter_s": 2}, "--interval: leaves 1 s"),
        ({"open_s": 1e8, "frame_shutter_s": 1e-5}, "more than any camera"),
        ({"direction_deg": 0}, "belong together"),
        ({"direction_deg": 0, "altitude_deg": 40}, "--latitude"),
        ({"declination_deg": 0, "direction_deg": 0}, "--declination and --direction"),
        ({"date": date(2026, 1, 1)}, "--latitude and --longitude"),
        ({"zone": "UTC", "latitude_deg": 5}, "--latitude and --longitude"),
        ({"longitude_deg": 5}, "--latitude and --longitude"),
        ({"date": date(1815, 6, 18), "latitude_deg": 5, "longitude_deg": 5}, "1900 to 2100"),
        ({"pixels": (0, 400)}, "--pixels 0"),
        ({"sensor": "enormous"}, "--sensor enormous"),
        ({"sensor": "0x0"}, "--sensor 0x0"),
        ({"sensor": "infxinf"}, "--sensor infxinf"),
    ],
)
def test_contradictions_are_refused(known, words):
    with pytest.raises(OptionError) as caught:
        plan_of(Facts(subject="star-trails", **known))
    assert words in str(caught.value)


def test_an_unknown_subject_names_the_nearest():
    with pytest.raises(OptionError, match="did you mean traffic"):
        Facts(subject="trafic")


def test_what_is_not_a_fact_is_no_argument():
    with pytest.raises(TypeError, match="focus_mm"):
        Facts(subject="water", focus_mm=24)
