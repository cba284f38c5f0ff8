"""Sun and moon of one evening, from noon to noon, at one place. Computed here, without a network.

The positions are those of the library astral (Meeus's and NOAA's series, about a minute of time).
The times are found here, by the sun's altitude along the day: so evenings that run past midnight,
and days on which the sun does not set or rise, need no special case.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from functools import cache
from itertools import pairwise

from stacker.errors import OptionError

# altitudes of the sun's centre: its upper edge on the horizon, refraction included, and the ends of
# the twilights (definitions of the Astronomical Almanac)
SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL = -0.833, -6.0, -12.0, -18.0
# a clear sky gives 30 lux when the sun is 4 degrees down, 3.4 at 6 and 1.1 at 7 (Explanatory
# Supplement to the Astronomical Almanac, ground illumination); lamps light a street with 5 to 30,
# of which a wall sends back a third: between these they are alike
BALANCE = (-4.0, -7.0)
BALANCE_STOPS = math.log2(30 / 1.1)
# the moon's light drowns faint stars from about here on
BRIGHT_MOON = 0.1
# the moon seen from the ground stands lower than from the Earth's centre, by this at the horizon
MOON_PARALLAX_DEG = 0.95
STEP = timedelta(minutes=5)
DAY = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Evening:
    """The light of one evening, night and morning. Times are None where the sun does not get there.

    Parameters
    ----------
    date, latitude_deg, longitude_deg : when and where.
    morning : whether the dawn of that date is meant, which ends the night; else its evening.
    clock : whose time is shown, in words.
    sunset, civil_end, nautical_end, astronomical_end : of the evening.
    astronomical_begin, nautical_begin, civil_begin, sunrise : of the morning after the night.
    balance_from, balance_to : when the sky is likely as bright as what lamps light, on the evening
        or morning meant.
    dark_from, dark_to : the longest time in which the sun is 18 degrees down and no bright moon up.
    sun_highest_deg, sun_lowest_deg : altitudes at noon and midnight.
    moon_lit : share of the moon's face that is lit.
    moon_waxing : whether that grows.
    moon_altitude_deg : when civil twilight ends (begins, of a morning); at midnight if it does not.
    moon_rises, moon_sets : from noon to noon.
    """

    date: date
    latitude_deg: float
    longitude_deg: float
    morning: bool
    clock: str
    sunset: datetime | None
    civil_end: datetime | None
    nautical_end: datetime | None
    astronomical_end: datetime | None
    astronomical_begin: datetime | None
    nautical_begin: datetime | None
    civil_begin: datetime | None
    sunrise: datetime | None
    balance_from: datetime | None
    balance_to: datetime | None
    dark_from: datetime | None
    dark_to: datetime | None
    sun_highest_deg: float
    sun_lowest_deg: float
    moon_lit: float
    moon_waxing: bool
    moon_altitude_deg: float
    moon_rises: datetime | None
    moon_sets: datetime | None


def evening_at(
    day: date,
    latitude_deg: float,
    longitude_deg: float,
    zone: str | None = None,
    *,
    morning: bool = False,
) -> Evening:
    """Return the light of the evening of a date and of the night after, or of its morning.

    Parameters
    ----------
    day : the date on which the evening begins, or on which the morning comes, by the clock shown.
    latitude_deg, longitude_deg : north and east above 0.
    zone : a name such as ``Europe/London``, an offset such as ``+02:00``, or the machine's if None.

    Raises
    ------
    OptionError
        The zone is unknown.
    """
    shown, clock = _zone(zone, day)
    start = _noon(day - DAY if morning else day, longitude_deg, shown) - timedelta(hours=1)
    end = start + DAY

    # every level asks for the same moments again
    @cache
    def sun(moment: datetime) -> float:
        return _sun_altitude(moment, latitude_deg, longitude_deg)

    @cache
    def moon(moment: datetime) -> float:
        return _moon_altitude(moment, latitude_deg, longitude_deg)

    def told(moment: datetime | None) -> datetime | None:
        return None if moment is None else moment.astimezone(shown)

    course = [sun(moment) for moment in _steps(start, end)]
    midnight = start + STEP * course.index(min(course))
    falls = {level: _crossing(sun, level, start, midnight) for level in
             (SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL, *BALANCE)}  # fmt: skip
    rises = {level: _crossing(lambda moment: -sun(moment), -level, midnight, end) for level in
             (SUNSET, CIVIL, NAUTICAL, ASTRONOMICAL, *BALANCE)}  # fmt: skip
    balance = (rises[BALANCE[1]], rises[BALANCE[0]]) if morning else [falls[b] for b in BALANCE]
    civil = (rises if morning else falls)[CIVIL]
    lit, waxing = _moon_phase(midnight)
    dark = _darkest(sun, moon, start, end, moon_counts=lit > BRIGHT_MOON)
    return Evening(
        date=day,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        morning=morning,
        clock=clock,
        sunset=told(falls[SUNSET]),
        civil_end=told(falls[CIVIL]),
        nautical_end=told(falls[NAUTICAL]),
        astronomical_end=told(falls[ASTRONOMICAL]),
        astronomical_begin=told(rises[ASTRONOMICAL]),
        nautical_begin=told(rises[NAUTICAL]),
        civil_begin=told(rises[CIVIL]),
        sunrise=told(rises[SUNSET]),
        balance_from=told(balance[0]),
        balance_to=told(balance[1]),
        dark_from=told(dark[0] if dark else None),
        dark_to=told(dark[1] if dark else None),
        sun_highest_deg=max(course),
        sun_lowest_deg=min(course),
        moon_lit=lit,
        moon_waxing=waxing,
        moon_altitude_deg=moon(civil or midnight),
        moon_rises=told(_crossing(lambda moment: -moon(moment), -SUNSET, start, end)),
        moon_sets=told(_crossing(moon, SUNSET, start, end)),
    )


def _zone(name: str | None, day: date) -> tuple[tzinfo, str]:
    """Return a zone and whose clock that is, in words."""
    from zoneinfo import ZoneInfo

    if name is None:
        local = datetime(day.year, day.month, day.day, 18).astimezone()
        offset = local.utcoffset() or timedelta()
        return timezone(offset), f"this machine's clock ({_offset(offset)})"
    try:
        # "+02:00" is read as datetimes are
        fixed = datetime.fromisoformat(f"2000-01-01T00:00{name.upper().removeprefix('UTC')}")
        if fixed.tzinfo is not None:
            return fixed.tzinfo, f"clock of {_offset(fixed.utcoffset() or timedelta())}"
    except ValueError:
        pass
    try:
        # an empty or a climbing name is a ValueError, a folder's an OSError
        return ZoneInfo(name), f"clock of {name}"
    except (KeyError, ValueError, OSError) as error:
        raise OptionError(
            f"--zone {name}",
            "is no time zone known here",
            remedy="give one such as Europe/London, or an offset such as +02:00",
            code="option-value",
        ) from error


def _offset(offset: timedelta) -> str:
    minutes = round(offset.total_seconds() / 60)
    return f"UTC{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"


def _noon(day: date, longitude_deg: float, shown: tzinfo) -> datetime:
    """Return the place's mean noon that lies nearest to noon of that date by the clock shown."""
    wanted = datetime(day.year, day.month, day.day, 12, tzinfo=shown).astimezone(UTC)
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
    noon -= timedelta(hours=longitude_deg / 15)
    return noon + DAY * round((wanted - noon) / DAY)


def _steps(start: datetime, end: datetime) -> list[datetime]:
    return [start + STEP * k for k in range((end - start) // STEP + 1)]


def _crossing(
    height: Callable[[datetime], float], level: float, start: datetime, end: datetime
) -> datetime | None:
    """Return when a height first falls below a level, to the second; None if it does not."""
    moments = _steps(start, end)
    for before, after in pairwise(moments):
        if height(before) >= level > height(after):
            while after - before > timedelta(seconds=1):
                middle = before + (after - before) / 2
                before, after = (middle, after) if height(middle) >= level else (before, middle)
            return after
    return None


def _darkest(
    sun: Callable[[datetime], float],
    moon: Callable[[datetime], float],
    start: datetime,
    end: datetime,
    *,
    moon_counts: bool,
) -> tuple[datetime, datetime] | None:
    """Return the longest dark stretch, to the minute."""
    best: tuple[datetime, datetime] | None = None
    began: datetime | None = None
    minute = timedelta(minutes=1)
    for k in range((end - start) // minute + 1):
        moment = start + minute * k
        dark = sun(moment) < ASTRONOMICAL and not (moon_counts and moon(moment) > SUNSET)
        if not dark:
            began = None
            continue
        began = began or moment
        if best is None or moment - began > best[1] - best[0]:
            best = (began, moment)
    return best


def _sun_altitude(moment: datetime, latitude_deg: float, longitude_deg: float) -> float:
    """Return the altitude of the sun's centre in degrees, without refraction."""
    from astral import Observer
    from astral.sun import elevation

    observer = Observer(latitude_deg, longitude_deg, 0.0)
    return float(elevation(observer, moment, with_refraction=False))


def _moon_altitude(moment: datetime, latitude_deg: float, longitude_deg: float) -> float:
    """Return the altitude of the moon's centre in degrees as seen from the ground."""
    from astral import Observer
    from astral.moon import elevation

    altitude = float(elevation(Observer(latitude_deg, longitude_deg, 0.0), moment))
    return altitude - MOON_PARALLAX_DEG * math.cos(math.radians(altitude))


def _moon_phase(moment: datetime) -> tuple[float, bool]:
    """Return the share of the moon's face that is lit, and whether that grows.

    The angle between moon and sun is taken from where both stand for an observer on the equator;
    the lit share is (1 - cos) / 2 of it (Meeus, Astronomical Algorithms, chapter 48, but for the
    sun's finite distance).
    """
    now, later = (_elongation(moment + shift) for shift in (timedelta(), timedelta(hours=1)))
    return (1 - math.cos(now)) / 2, later > now


def _elongation(moment: datetime) -> float:
    from astral import Observer, moon, sun

    observer = Observer(0.0, 0.0, 0.0)
    sides = []
    for body in (
        (moon.elevation(observer, moment), moon.azimuth(observer, moment)),
        (sun.elevation(observer, moment, False), sun.azimuth(observer, moment)),
    ):
        altitude, azimuth = map(math.radians, body)
        flat = math.cos(altitude)
        sides.append((flat * math.cos(azimuth), flat * math.sin(azimuth), math.sin(altitude)))
    cosine = math.fsum(a * b for a, b in zip(*sides, strict=True))
    return math.acos(max(-1.0, min(1.0, cosine)))
