"""Exposure arithmetic: values of light, shutters of the dial, the filter that a burst replaces."""

from __future__ import annotations

import math
from dataclasses import dataclass

# nominal third stops as they stand on dials, in seconds
DIAL_FRACTIONS = (
    8000, 6400, 5000, 4000, 3200, 2500, 2000, 1600, 1250, 1000, 800, 640, 500, 400, 320, 250, 200,
    160, 125, 100, 80, 60, 50, 40, 30, 25, 20, 15, 13, 10, 8, 6, 5, 4,
)  # fmt: skip
DIAL_SECONDS = (
    0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5, 3.2, 4.0, 5.0, 6.0, 8.0, 10.0, 13.0, 15.0,
    20.0, 25.0, 30.0,
)  # fmt: skip
DIAL = tuple(1 / below for below in DIAL_FRACTIONS) + DIAL_SECONDS
LONGEST_ON_DIAL = DIAL[-1]
# nominal third stops of sensitivity; who wants more may say so
ISOS = (
    100, 125, 160, 200, 250, 320, 400, 500, 640, 800, 1000, 1250, 1600, 2000, 2500, 3200, 4000,
    5000, 6400,
)  # fmt: skip
# 3.98 s is what people mean by a limit of 4 s
NEARLY = 1.01

# light levels at ISO 100, from the brightest down, as usual tables of exposure values have them
LIGHT_LEVELS = (
    (14.5, "full sun"),
    (12.5, "hazy sun or the last sun of the day"),
    (10.5, "heavy overcast or deep shade"),
    (8.5, "about sunset"),
    (6.5, "dusk"),
    (3.5, "a brightly lit street at night"),
    (0.5, "a dim street at night"),
    (-3.5, "moonlit land"),
    # 12.5 / 100 x 2^EV cd/m2: 18.5 magnitudes per square arcsecond at EV -5, 20.2 at -6.8
    (-6.0, "the night sky over a small town"),
    (-math.inf, "a dark sky in the country"),
)


@dataclass(frozen=True)
class Filter:
    """The neutral-density filter that one exposure of the whole time would want.

    Parameters
    ----------
    stops : by how many it darkens.
    factor : how many times; the trade's ND number.
    density : its decimal logarithm, the other number on filters.
    """

    stops: float
    factor: float
    density: float


def filter_replaced(frames: int) -> Filter:
    """Return the filter that the mean of so many frames replaces.

    The mean of N frames of shutter t is an exposure of N t, at the same aperture and ISO, through
    a filter that lets one Nth through.
    """
    return Filter(stops=math.log2(frames), factor=float(frames), density=math.log10(frames))


def exposure_value(aperture: float, shutter_s: float, iso: float) -> float:
    """Return EV at ISO 100 of the light that this exposure renders as metered.

    Source: ISO 2720:1974 and APEX; EV = log2(N^2 / t) - log2(ISO / 100).
    """
    return math.log2(aperture**2 / shutter_s) - math.log2(iso / 100)


def metered_shutter_s(aperture: float, iso: float, ev: float) -> float:
    """Return the shutter in seconds that renders light of this EV (at ISO 100) as metered."""
    return aperture**2 / (float(2.0**ev) * iso / 100)


def stops_from_metered(shutter_s: float, aperture: float, iso: float, ev: float) -> float:
    """Return by how many stops an exposure is brighter than the meter wants, below 0 darker."""
    return ev - exposure_value(aperture, shutter_s, iso)


def hand_limit_s(equivalent_mm: float, stabiliser_stops: float = 0.0) -> float:
    """Return the longest frame that a hand holds, by the trade's old rule of 1 / focal length.

    Parameters
    ----------
    equivalent_mm : the focal length that gives the same view on full frame.
    stabiliser_stops : by how many stops a stabiliser lengthens it.
    """
    return 1 / equivalent_mm * float(2.0**stabiliser_stops)


def iso_for(shutter_s: float, aperture: float, ev: float) -> float:
    """Return the lowest ISO that renders light of this EV as metered in that time, 6400 at most."""
    wanted = 100 * aperture**2 / (shutter_s * float(2.0**ev))
    return next((iso for iso in ISOS if iso >= wanted / NEARLY), ISOS[-1])


def nearest_on_dial(shutter_s: float) -> float:
    """Return the dial's value nearest in stops."""
    return min(DIAL, key=lambda each: abs(math.log2(each / shutter_s)))


def longest_on_dial(limit_s: float) -> float:
    """Return the dial's longest value within a limit, the shortest there is if none is."""
    within = [each for each in DIAL if each <= limit_s * NEARLY]
    return within[-1] if within else DIAL[0]


def light_in_words(ev: float) -> str:
    """Return what an exposure value at ISO 100 looks like outdoors."""
    return next(words for least, words in LIGHT_LEVELS if ev >= least)
