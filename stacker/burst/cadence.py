"""A steady cadence seen through time stamps that are rounded to whole seconds.

A stamp of s seconds says that the frame opened within [s, s + 1) (or, for a clock that rounds,
within a second shifted by a half: the same for all, and only differences count). Frames opened
at ``phase + interval * i`` fit if one pair of numbers meets all windows. For a given interval the
room left for the phase is one second less the spread of ``s_i - interval * i``; that spread is a
convex function of the interval, so the intervals that fit form one span, and its middle is never
further from the truth than half its length: at most one second over the count of steps.

Source: the feasible region of a straight line seen through rounding ("digital straight segment
recognition"), e.g. L. Dorst and A. W. M. Smeulders, IEEE PAMI 6(4), 1984,
doi:10.1109/TPAMI.1984.4767550; here solved by search on the convex spread.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Float64Array = npt.NDArray[np.float64]

# a step this much above the usual one is a pause whatever the rounding
CERTAIN_PAUSE_S = 2.0
# what a window of one second is taken wider by, for times that fall on its edge
EDGE_S = 1e-3
# shutters and timers of real cameras wander a little
JITTER_S = 0.08
# a spread up to this still is one cadence, seen through an unsteady clock
LOOSEST_SPREAD_S = 1.6
SEARCH_STEPS = 80
# stretches shorter than this tell nothing; more of them than one frame in this many: not steady
FRAMES_A_STRETCH = 5


@dataclass(frozen=True)
class Cadence:
    """What was found.

    ``ok`` is whether one interval explains the stamps; ``starts_s`` the openings, float64 (n,),
    from the first; ``interval_s`` the shared interval, ``doubt_s`` by how much it may be wrong at
    most; ``breaks`` the places where a new stretch begins after a pause; ``reason`` why not ok.
    """

    ok: bool
    starts_s: Float64Array
    interval_s: float
    doubt_s: float
    breaks: tuple[int, ...]
    reason: str = ""


def fit_cadence(
    stamps_s: npt.ArrayLike, counters: npt.ArrayLike | None = None, *, at_least_s: float = 0.0
) -> Cadence:
    """Return the steady cadence behind whole-second stamps, with pauses.

    Parameters
    ----------
    stamps_s : whole seconds, not falling, float (n,), n at least 2.
    counters : the frame each stamp belongs to, rising whole numbers (n,); 0, 1, 2 ... if None.
    at_least_s : the interval is not shorter: the shutter was open so long. Only narrows.
    """
    stamps = np.asarray(stamps_s, dtype=np.float64)
    places = np.arange(len(stamps)) if counters is None else np.asarray(counters)
    steps = np.diff(stamps) / np.diff(places)
    if not stamps[-1] > stamps[0]:
        return _evenly(stamps, "all frames bear the same time")
    usual = float(np.median(steps))
    parts = _split(len(stamps), np.flatnonzero(steps >= usual + CERTAIN_PAUSE_S) + 1)
    highest = float(usual + CERTAIN_PAUSE_S)
    spread = _shared_spread(stamps, places, parts)
    best = _lowest(spread, highest)
    if spread(best) >= 1.0 + EDGE_S:
        parts = _split_finely(stamps, places, parts, highest)
        if len(parts) > 2 + len(stamps) // FRAMES_A_STRETCH:
            return _evenly(stamps, "the frames do not follow each other steadily")
        spread = _shared_spread(stamps, places, parts)
        best = _lowest(spread, highest)
        if spread(best) > LOOSEST_SPREAD_S:
            return _evenly(stamps, "the frames do not follow each other steadily")
    low, high = _fitting_span(spread, best, highest)
    low = max(low, min(at_least_s, high))
    interval = (low + high) / 2
    starts = np.empty(len(stamps))
    for part in parts:
        starts[part] = _phase(stamps[part], places[part], interval) + interval * places[part]
    breaks = tuple(int(part.start) for part in parts[1:])
    return Cadence(True, starts - starts[0], interval, (high - low) / 2, breaks)


def _split(count: int, breaks: npt.NDArray[np.intp]) -> list[slice]:
    edges = [0, *(int(place) for place in breaks), count]
    return [slice(one, two) for one, two in pairwise(edges)]


def _shared_spread(
    stamps: Float64Array, places: npt.NDArray[np.int_], parts: list[slice]
) -> Callable[[float], float]:
    """Return the greatest spread over all stretches as a function of the interval."""

    def spread(interval: float) -> float:
        left = stamps - interval * places
        edges = [part.start for part in parts]
        return float((np.maximum.reduceat(left, edges) - np.minimum.reduceat(left, edges)).max())

    return spread


def _lowest(spread: Callable[[float], float], highest: float) -> float:
    """Return where a convex function is lowest within [0, highest], by golden section."""
    ratio = (5**0.5 - 1) / 2
    low, high = 0.0, highest
    for _ in range(SEARCH_STEPS):
        one, two = high - ratio * (high - low), low + ratio * (high - low)
        if spread(one) <= spread(two):
            high = two
        else:
            low = one
    return (low + high) / 2


def _fitting_span(
    spread: Callable[[float], float], best: float, highest: float
) -> tuple[float, float]:
    """Return the span of intervals that fit as well as need be, around the best one."""
    limit = max(1.0, spread(best)) + EDGE_S
    edges = []
    for beyond in (0.0, highest):
        inside, outside = best, beyond
        for _ in range(SEARCH_STEPS):
            middle = (inside + outside) / 2
            if spread(middle) < limit:
                inside = middle
            else:
                outside = middle
        edges.append(inside)
    return edges[0], edges[1]


def _phase(stamps: Float64Array, places: npt.NDArray[np.int_], interval: float) -> float:
    """Return the middle of the phases that fit a stretch best."""
    left = stamps - interval * places
    return float(left.max() + left.min() + 1.0) / 2


def _split_finely(
    stamps: Float64Array, places: npt.NDArray[np.int_], parts: list[slice], highest: float
) -> list[slice]:
    """Return stretches split also where a pause is too short to be seen in one step.

    The longest run that one interval explains gives that interval; walking along with it, the
    room for the phase narrows, and a frame that leaves no room opens a new stretch.
    """
    longest = slice(0, 0)
    for part in parts:
        start = part.start
        while start < part.stop - 1:
            stop = _longest_fit(stamps, places, start, part.stop, highest)
            if stop - start > longest.stop - longest.start:
                longest = slice(start, stop)
            start = max(stop - 1, start + 1)
    spread = _shared_spread(stamps[longest], places[longest], [slice(0, len(stamps[longest]))])
    best = _lowest(spread, highest)
    low, high = _fitting_span(spread, best, highest)
    interval = (low + high) / 2
    breaks = [part.start for part in parts[1:]]
    for part in parts:
        breaks.extend(_walk(stamps, places, part, interval))
    return _split(len(stamps), np.array(sorted(breaks), dtype=np.intp))


def _longest_fit(
    stamps: Float64Array, places: npt.NDArray[np.int_], start: int, end: int, highest: float
) -> int:
    """Return where the longest run from ``start`` ends that one interval explains."""

    def fits(stop: int) -> bool:
        run = slice(start, stop)
        spread = _shared_spread(stamps[run], places[run], [slice(0, stop - start)])
        return spread(_lowest(spread, highest)) < 1.0 + EDGE_S

    good, bad = start + 2, end + 1
    while bad - good > 1:
        middle = (good + bad) // 2
        if fits(middle):
            good = middle
        else:
            bad = middle
    return good


def _walk(
    stamps: Float64Array, places: npt.NDArray[np.int_], part: slice, interval: float
) -> list[int]:
    """Return the places in a stretch where the next frame comes later than the phase allows."""
    left = stamps - interval * places
    breaks = []
    low, high = -np.inf, np.inf
    for place in range(part.start, part.stop):
        low, high = max(low, left[place]), min(high, left[place] + 1.0)
        if low > high + JITTER_S:
            breaks.append(place)
            low, high = left[place], left[place] + 1.0
    return breaks


def _evenly(stamps: Float64Array, reason: str) -> Cadence:
    """Return the stamps themselves, frames of one second spread over it evenly."""
    values, counts = np.unique(stamps, return_counts=True)
    starts = np.concatenate(
        [value + np.arange(count) / count for value, count in zip(values, counts, strict=True)]
    )
    interval = float(np.median(np.diff(starts)))
    return Cadence(False, starts - starts[0], interval, 1.0, (), reason)
