"""Sun and moon: against almanacs, eclipses and spherical triangles."""

import math
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from stacker.errors import OptionError
from stacker.plan.twilight import _moon_phase, evening_at

MINUTE = timedelta(minutes=1)


def about(moment: datetime, hour: int, minute: int, *, within: float = 1.5) -> bool:
    """Whether a clock shows this time, within minutes: almanacs round, and series differ."""
    day = moment.replace(hour=hour, minute=minute, second=0, microsecond=0)
    return abs(moment - day) <= within * MINUTE


def test_greenwich_at_the_winter_solstice_by_a_triangle():
    """cos H = (sin h - sin lat sin d) / (cos lat cos d) with lat 51.478 and d -23.44 gives
    H = 3 h 54.9 min for h = -0.833, 4 h 35.4 for -6, 5 h 18.7 for -12 and 5 h 59.5 for -18; noon
    is at 11:58.2, the equation of time then being 1.8 minutes."""
    found = evening_at(date(2024, 12, 21), 51.478, 0.0, "Europe/London")
    noon = datetime(2024, 12, 21, 11, 58, 12, tzinfo=UTC)
    events = (found.sunset, found.civil_end, found.nautical_end, found.astronomical_end)
    for event, altitude in zip(events, (-0.833, -6, -12, -18), strict=True):
        lat, sun = math.radians(51.478), math.radians(-23.44)
        cosine = math.sin(math.radians(altitude)) - math.sin(lat) * math.sin(sun)
        hours = math.degrees(math.acos(cosine / (math.cos(lat) * math.cos(sun)))) / 15
        assert event is not None
        assert abs(event - noon - timedelta(hours=hours)) < 1.5 * MINUTE
    assert about(events[0], 15, 53)  # as printed in almanacs


def test_twilight_at_the_equator_and_equinox():
    """The sun goes straight down by 15 degrees per hour: 20.7, 24 and 24 minutes."""
    found = evening_at(date(2026, 3, 20), 0.0, 0.0, "UTC")
    lengths = [
        (after - before) / MINUTE
        for before, after in (
            (found.sunset, found.civil_end),
            (found.civil_end, found.nautical_end),
            (found.nautical_end, found.astronomical_end),
        )
    ]
    # to the second, as crossings are found
    assert lengths == pytest.approx([20.7, 24.0, 24.0], abs=0.1)


@pytest.mark.parametrize(
    ("moment", "lit"),
    [
        (datetime(2024, 9, 18, 2, 34, tzinfo=UTC), 1.0),  # full: partial eclipse of the moon
        (datetime(2024, 4, 8, 18, 21, tzinfo=UTC), 0.0),  # new: total eclipse of the sun
        (datetime(2026, 8, 12, 17, 37, tzinfo=UTC), 0.0),  # the next
        (datetime(2024, 8, 26, 9, 26, tzinfo=UTC), 0.5),  # last quarter
        (datetime(2025, 3, 6, 16, 32, tzinfo=UTC), 0.5),  # first quarter
    ],
)
def test_the_moon_is_lit_as_almanacs_have_it(moment, lit):
    """At a quarter the lit share changes by half a percent in an hour."""
    assert _moon_phase(moment)[0] == pytest.approx(lit, abs=0.005)


def test_the_moon_waxes_to_the_full():
    assert _moon_phase(datetime(2024, 9, 14, tzinfo=UTC))[1]
    assert not _moon_phase(datetime(2024, 9, 22, tzinfo=UTC))[1]


def test_at_full_the_moon_rises_at_sunset_and_no_time_is_dark():
    """Full on 2024-10-17 11:26 UTC: opposite to the sun, so up all night."""
    found = evening_at(date(2024, 10, 17), 51.5, 0.0, "UTC")
    assert abs(found.moon_rises - found.sunset) < 40 * MINUTE
    assert found.moon_lit > 0.99 and found.moon_altitude_deg > 0
    assert found.dark_from is None and found.astronomical_end is not None


def test_a_slender_moon_does_not_spoil_the_dark():
    """New on 2024-11-01 12:47 UTC."""
    found = evening_at(date(2024, 11, 1), 51.5, 0.0, "UTC")
    assert found.moon_lit < 0.01
    assert abs(found.dark_from - found.astronomical_end) <= MINUTE
    assert found.dark_to - found.dark_from > timedelta(hours=10)


def test_polar_day():
    """At 69.65 north the sun stands 90 - 69.65 - 23.44 below the pole's circle: 3.1 degrees up."""
    found = evening_at(date(2025, 6, 21), 69.65, 18.96, "Europe/Oslo")
    assert found.sunset is None and found.civil_end is None and found.balance_from is None
    assert found.dark_from is None
    assert found.sun_lowest_deg == pytest.approx(3.09, abs=0.05)


def test_polar_night_still_has_twilight():
    found = evening_at(date(2025, 12, 21), 69.65, 18.96, "Europe/Oslo")
    assert found.sunset is None
    assert found.sun_highest_deg == pytest.approx(90 - 69.65 - 23.44, abs=0.05)
    assert found.civil_end < found.nautical_end < found.astronomical_end < found.dark_to
    pole = evening_at(date(2025, 12, 21), 90.0, 0.0, "UTC")
    assert pole.astronomical_end is None and pole.dark_to - pole.dark_from == timedelta(days=1)


def test_a_white_night_has_no_nautical_end():
    """At 59 north the sun is 90 - 59 - 23.44 = 7.56 degrees down at midsummer's midnight."""
    found = evening_at(date(2025, 6, 21), 59.0, 18.0, "Europe/Stockholm")
    assert found.civil_end is not None and found.nautical_end is None
    assert found.sun_lowest_deg == pytest.approx(-7.56, abs=0.05)


def test_evenings_run_past_midnight():
    """In the west of Iceland, on London's time though 22 degrees west, the sun sets at midnight."""
    found = evening_at(date(2025, 6, 21), 64.1, -22.0, "Atlantic/Reykjavik")
    assert found.sunset.date() == date(2025, 6, 22) and about(found.sunset, 0, 4, within=3)


def test_the_date_is_that_of_the_clock_shown():
    """Kiribati's Line Islands lie at 157 west and are 14 hours ahead."""
    found = evening_at(date(2025, 5, 1), 1.87, -157.4, "Pacific/Kiritimati")
    assert found.sunset.date() == date(2025, 5, 1) and about(found.sunset, 18, 32, within=2)
    assert found.sunset.utcoffset() == timedelta(hours=14)


def test_the_clock_is_told():
    day = date(2026, 7, 1)
    summer = evening_at(day, 51.5, 0.0, "Europe/London")
    fixed = evening_at(day, 51.5, 0.0, "+02:00")
    machine = evening_at(day, 51.5, 0.0)
    assert summer.clock == "clock of Europe/London"
    assert summer.sunset.utcoffset() == timedelta(hours=1)
    assert fixed.clock == "clock of UTC+02:00" and fixed.sunset == summer.sunset
    assert machine.clock.startswith("this machine's clock (UTC")
    assert machine.sunset == summer.sunset


@pytest.mark.parametrize("name", ["Nowhere/Land", "", "../etc/passwd", "+99:00", "Europe"])
def test_unknown_zones_are_refused(name):
    with pytest.raises(OptionError, match="no time zone"):
        evening_at(date(2026, 7, 1), 0.0, 0.0, name)


@settings(max_examples=12, deadline=None)
@example(date(2025, 6, 21), 66.0, 10.0)
@example(date(2025, 12, 21), 67.3, 10.0)
@given(st.dates(date(1900, 1, 1), date(2100, 12, 31)), st.floats(-90, 90), st.floats(-180, 180))
def test_twilights_come_in_their_order(day, latitude, longitude):
    found = evening_at(day, latitude, longitude, "UTC")
    order = [
        found.sunset, found.balance_from, found.civil_end, found.balance_to, found.nautical_end,
        found.astronomical_end,
    ]  # fmt: skip
    times = [event for event in order if event is not None]
    assert times == sorted(times)
    # from the first that comes, none is missing in between
    came = [event is not None for event in order]
    if any(came):
        first, last = came.index(True), len(came) - came[::-1].index(True)
        assert all(came[first:last])
    # the light levels passed are those between the day's highest and lowest
    assert (found.sunset is not None) <= (found.sun_highest_deg >= -0.833)
    assert 0 <= found.moon_lit <= 1


def test_dawn_at_the_equator_and_equinox_mirrors_dusk():
    """The sun goes straight up by 15 degrees per hour: 24, 24 and 20.7 minutes."""
    found = evening_at(date(2026, 3, 20), 0.0, 0.0, "UTC", morning=True)
    begins = (found.astronomical_begin, found.nautical_begin, found.civil_begin, found.sunrise)
    assert all(moment.date() == date(2026, 3, 20) for moment in begins)
    lengths = [(after - before) / MINUTE for before, after in pairwise(begins)]
    assert lengths == pytest.approx([24.0, 24.0, 20.7], abs=0.1)
    # from 7 to 4 degrees below the horizon, before sunrise
    assert (found.balance_to - found.balance_from) / MINUTE == pytest.approx(12.0, abs=0.1)
    assert found.civil_begin < found.balance_to < found.sunrise


def test_sunrise_at_greenwich_at_the_winter_solstice_by_the_triangle():
    """H = 3 h 54.9 min before noon at 11:58.2, printed in almanacs as 08:03 or 08:04."""
    found = evening_at(date(2024, 12, 21), 51.478, 0.0, "Europe/London", morning=True)
    assert about(found.sunrise, 8, 3)
    # the night before ends with this morning
    assert found.sunset.date() == date(2024, 12, 20)


def test_no_dawn_where_the_sun_does_not_set_or_rise():
    summer = evening_at(date(2026, 6, 21), 69.6, 18.9, "Europe/Oslo", morning=True)
    assert summer.sunrise is None and summer.balance_from is None and summer.sun_lowest_deg > 0
    winter = evening_at(date(2026, 12, 21), 69.6, 18.9, "Europe/Oslo", morning=True)
    # the sun stays 3 degrees down at noon: civil twilight begins, and nothing rises
    assert winter.sunrise is None and winter.civil_begin is not None
