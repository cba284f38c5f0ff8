"""Where a shell burst and when: the laws of flight that the ends of streaks and ridges bear out.

Headings are followed back to the place from which they radiate. From there each pair of ends of
both frames tells how much farther sparks have come and fallen in the gap; what most agree on
gives first laws, which are judged by the ridges that lie where they let sparks fly and by the dark
where no shutter was open. A mirrored later frame tells what chance gives.

Source: the vote is a Hough transform (P. V. C. Hough, US patent 3069654, 1962).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.flight import Flight, Float64Array, flown
from stacker.bridge.streaks.shells import LEAST_SPARKS, BoolArray, Tips, radiate

FloatArray = npt.NDArray[np.float32]

# headings are followed back so far, as a share of the picture's height, and vote in cells, px; so
# many places of each frame are tried, so far apart
BACK, CELL, TRIED, APART = 0.35, 4.0, 2, 12.0
# a shell reaches no farther than this share of the picture's height
REACH = 0.42
# steps of the place that are tried about the vote, px; scales of the flight through the gap; and
# how near ends must lie, px
ABOUT = (-8, -4, 0, 4, 8)
SCALES = 1.02 ** np.arange(1, 70)
NEAR_PX, LEAST_FALL, MOST_FALL = 1.5, -3.0, 70.0
# headings of sparks that have slowed down point downwards
DOWN = -0.3
# drags per shutter, and falls per squared shutter as shares of the reach, that laws begin with
DRAGS = (0.5, 0.9, 1.4, 1.9, 2.5, 3.3, 4.4)
FALLS = (0.15, 0.3, 0.5, 0.75, 1.05)
AGE_TIMES, BELOW = (0.75, 1.0, 1.3), (-0.12, 0.0, 0.12, 0.25, 0.4)
AGES = np.linspace(0.03, 2.5, 300)
# a law must be so many times better than with a mirrored frame; laws near the best are given too
TIMES_CHANCE, NEAR_BEST, GIVEN = 1.3, 0.85, 3
# how much light where there should be none counts against a spark
DARK = 0.7
# a line or spot is sure at so many times the noise and this share of the light about it
SURE_TIMES, SURE_SHARE, FINE, WIDE = 3.0, 0.15, 1.0, 4.0
# px, ages and shares by which laws are refined in turn
TURNS = ((3.0, 0.2), (2.0, 0.1), (1.0, 0.05))
# sparks of a law have at least this share of sure ridge in both frames and lie so far apart, px
LEAST_RIDGE, LEAST_APART = 0.35, 1.6
ROWS = 30000


@dataclass(frozen=True, eq=False)
class Seen:
    """Ridges (H, W), 0 to 1, of both frames, and places (N, 2) of ends in both."""

    ridges: tuple[FloatArray, FloatArray]
    places: tuple[Float64Array, Float64Array]


def ridges_of(excess: FloatArray, noise: float) -> FloatArray:
    """Return how surely a narrow line or spot lies at each pixel, 0 to 1, (H, W)."""
    fine = cv2.GaussianBlur(excess, (0, 0), FINE)
    wide = cv2.GaussianBlur(excess, (0, 0), WIDE)
    sure = (fine - wide) / (SURE_TIMES * noise + SURE_SHARE * np.maximum(wide, 0))
    return np.asarray(np.clip(sure, 0, 1), np.float32)


def laws_of(
    tips: tuple[Tips, Tips], ridges: tuple[FloatArray, FloatArray], gap: float,
    like: Sequence[tuple[float, float]] = (),
) -> list[tuple[list[Flight], Seen]]:  # fmt: skip
    """Return for each shell the laws that may be its own, the likeliest first, and what bears
    them out; shells with the clearest law first.

    Parameters
    ----------
    tips : ends of streaks of the earlier and later frame.
    ridges : of both frames, (H, W), 0 to 1.
    gap : in shutters.
    like : drag and fall of other shells, which are tried first.
    """
    height = ridges[0].shape[0]
    middles: list[Float64Array] = []
    found: list[tuple[float, list[Flight], Seen]] = []
    for some in tips:
        for middle in _radiating(some, ridges[0].shape, BACK * height):
            if any(np.hypot(*(middle - other)) < APART for other in middles):
                continue
            middles.append(middle)
            one = _laws_about(middle, tips, ridges, gap, REACH * height, like)
            if one is not None:
                found.append(one)
    found.sort(key=lambda one: -one[0])
    kept: list[tuple[list[Flight], Seen]] = []
    for _, laws, seen in found:
        # a shell that is found twice
        far = [np.hypot(*(laws[0].centre - other[0].centre)) for other, _ in kept]
        if min(far, default=np.inf) > 4 * APART:
            kept.append((laws, seen))
    return kept


def sparks_of(flight: Flight, seen: Seen) -> Float64Array:
    """Return the speeds (N, 2) of sparks that ridges of both frames show, the surest first."""
    tips = np.concatenate([
        flight.speeds(seen.places[0], flight.age), flight.speeds(seen.places[1], flight.later)
    ])  # fmt: skip
    come = float(flown(flight.later, flight.drag))
    sure = _in_both(flight, tips, seen)
    tips, sure = tips[sure > LEAST_RIDGE], sure[sure > LEAST_RIDGE]
    if not len(tips):
        return tips
    most = 1.1 * come * float(np.percentile(np.hypot(*tips.T), 97))
    steps = np.arange(-most, most + 1)
    x, y = np.meshgrid(steps, steps)
    grid = np.stack([x.ravel(), y.ravel()], axis=1) / come
    there = _in_both(flight, grid, seen).reshape(x.shape).astype(np.float32)
    smooth = cv2.GaussianBlur(there, (0, 0), 0.7)
    peak = (smooth >= cv2.dilate(smooth, np.ones((3, 3), np.uint8))) & (there > LEAST_RIDGE)
    peak &= np.hypot(x, y) < most
    speeds = np.concatenate([tips, np.stack([x[peak], y[peak]], axis=1) / come])
    sure = np.concatenate([sure, there[peak]])
    kept: list[int] = []
    for number in np.argsort(-sure, kind="stable").tolist():
        far = come * np.hypot(*(speeds[kept] - speeds[number]).T)
        if not kept or far.min() > LEAST_APART:
            kept.append(number)
    return np.asarray(speeds[kept], float)


def _radiating(tips: Tips, shape: tuple[int, ...], back: float) -> list[Float64Array]:
    """Return the places from which the most headings radiate."""
    rows, columns = (int(side / CELL) + 2 for side in shape[:2])
    votes = np.zeros((rows, columns), np.float32)
    for far in np.arange(0, back, CELL / 2):
        x, y = np.rint((tips.place - tips.heading * far).T / CELL).astype(int)
        there = (x >= 0) & (y >= 0) & (x < columns) & (y < rows)
        np.add.at(votes, (y[there], x[there]), 1 / (1 + 4 * far / back))
    votes = np.asarray(cv2.GaussianBlur(votes, (0, 0), 1.2), np.float32)
    found = []
    for _ in range(TRIED):
        row, column = np.unravel_index(int(votes.argmax()), votes.shape)
        found.append(np.array([column, row], float) * CELL)
        cv2.circle(votes, (int(column), int(row)), 6, 0, -1)
    return found


def _own(tips: tuple[Tips, Tips], middle: Float64Array, reach: float) -> list[BoolArray]:
    """Return which ends of both frames may be those of a shell."""
    near = [np.hypot(*(some.place - middle).T) < reach for some in tips]
    out = radiate(middle, tips[0].place, tips[0].heading)
    into = radiate(middle, tips[1].place, -tips[1].heading) | (tips[1].heading[:, 1] < -DOWN)
    return [near[0] & out, near[1] & into]


def _laws_about(
    middle: Float64Array, tips: tuple[Tips, Tips], ridges: tuple[FloatArray, FloatArray],
    gap: float, reach: float, like: Sequence[tuple[float, float]],
) -> tuple[float, list[Flight], Seen] | None:  # fmt: skip
    """Return how well the best law of a shell that burst about ``middle`` does, the laws near it,
    and what bears them out; None where chance would do as well."""
    best = (0, 1.0, 0.0, middle)
    for dx in ABOUT:
        for dy in ABOUT:
            place = middle + np.array([dx, dy])
            own = _own(tips, place, reach)
            agreed = _tied(tips[0].place[own[0]] - place, tips[1].place[own[1]] - place)
            if agreed[0] > best[0]:
                best = (*agreed, place)
    count, scale, _, middle = best
    if count < LEAST_SPARKS:
        return None
    own = _own(tips, middle, reach)
    seen = Seen(ridges, (tips[0].place[own[0]], tips[1].place[own[1]]))
    far = float(np.percentile(np.hypot(*(seen.places[1] - middle).T), 90))
    known = [_refined(_begun(middle, far, scale, *one, gap, seen), seen) for one in like]
    # the best of each drag: laws of one drag lie in one valley
    tried = [
        max((_refined(_begun(middle, far, scale, drag, fall * far, gap, seen), seen)
             for fall in FALLS), key=lambda one: one[0])
        for drag in DRAGS
    ]  # fmt: skip
    tried.sort(key=lambda one: -one[0])
    score, flight = tried[0]
    if score < TIMES_CHANCE * _refined(flight, _mirrored(seen, flight.centre))[0]:
        return None
    near = [law for value, law in [*known, *tried[:GIVEN]] if value > NEAR_BEST * score]
    return score, near, seen


def _tied(p: Float64Array, q: Float64Array) -> tuple[int, float, float]:
    """Return how many of ``p`` (N, 2) and ``q`` (M, 2) agree on a scale and a fall that tie
    them, with both; places are from where the shell burst."""
    best = (0, 1.0, 0.0)
    for scale in SCALES.tolist():
        aside = np.abs(q[None, :, 0] - scale * p[:, None, 0])
        fall = q[None, :, 1] - scale * p[:, None, 1]
        near = (aside < NEAR_PX) & (fall > LEAST_FALL) & (fall < MOST_FALL)
        if near.sum() <= best[0]:
            continue
        cell = np.floor((fall - LEAST_FALL) / NEAR_PX).astype(int)
        votes = np.bincount(cell[near], minlength=2)
        # what falls on the border of two cells counts in both
        at = int((votes[1:] + votes[:-1]).argmax())
        agreed = near & ((cell == at) | (cell == at + 1))
        count = int(min(agreed.any(axis=1).sum(), agreed.any(axis=0).sum()))
        if count > best[0]:
            best = (count, scale, LEAST_FALL + (at + 1) * NEAR_PX)
    return best


def _begun(
    middle: Float64Array, far: float, scale: float, drag: float, fall: float, gap: float, seen: Seen
) -> Flight:
    """Return the best of a few laws of this drag and fall about a place and scale."""
    ratio = flown(AGES + gap, drag) / flown(AGES, drag)
    age = float(AGES[np.abs(ratio - scale).argmin()])
    # the more sparks fall, the higher the place that their headings seem to radiate from
    laws = [Flight(middle + np.array([0, below * far]), age * times, drag, fall, gap)
            for times in AGE_TIMES for below in BELOW]  # fmt: skip
    return max(laws, key=lambda law: _score(law, seen))


def _refined(flight: Flight, seen: Seen) -> tuple[float, Flight]:
    """Return the law with the place and age that ridges bear out best, and how well they do."""
    best = _score(flight, seen)
    for far, share in TURNS:
        for _ in range(3):
            before = best
            for number, step in ((0, far), (1, far), (2, share * min(flight.age, 1))):
                for sign in (1, -1):
                    numbers = flight.numbers
                    numbers[number] += sign * step
                    other = flight.with_numbers(numbers)
                    score = _score(other, seen)
                    if score > best:
                        best, flight = score, other
                        break
            if best == before:
                break
    return best, flight


def _mirrored(seen: Seen, middle: Float64Array) -> Seen:
    """Return what is seen with the later frame as a mirror through ``middle`` shows it."""
    ridge = seen.ridges[1]
    turn = np.array([[-1, 0, 2 * middle[0]], [0, 1, 0]], np.float32)
    mirror = np.asarray(cv2.warpAffine(ridge, turn, ridge.shape[::-1]), np.float32)
    place = seen.places[1] * [-1, 1] + [2 * middle[0], 0]
    return Seen((seen.ridges[0], mirror), (seen.places[0], place))


def _score(flight: Flight, seen: Seen) -> float:
    """Return how well ridges bear a law out: the sum over sparks that ends tell of."""
    total = 0.0
    for places, age in zip(seen.places, (flight.age, flight.later), strict=True):
        if not len(places):
            continue
        speeds = flight.speeds(places, age)
        one, two = _along(flight, speeds, seen)
        total += float((one * two * (1 - DARK * _unlit(flight, speeds, seen))).sum())
    return total


def _along(flight: Flight, speeds: Float64Array, seen: Seen) -> tuple[FloatArray, FloatArray]:
    """Return the mean ridge along the ways of sparks in both frames, (N,) each."""
    first = max(flight.age - 1, 0.05 * min(1, flight.age))
    ages = (np.linspace(first, flight.age - 0.02, 12), flight.later + np.linspace(0.02, 0.35, 10))
    one, two = (_looked(ridge, flight.places(speeds, at)).mean(axis=1)
                for ridge, at in zip(seen.ridges, ages, strict=True))  # fmt: skip
    return one, two


def _in_both(flight: Flight, speeds: Float64Array, seen: Seen) -> FloatArray:
    """Return the lesser of the mean ridges in both frames, (N,)."""
    return np.asarray(np.minimum(*_along(flight, speeds, seen)), np.float32)


def _unlit(flight: Flight, speeds: Float64Array, seen: Seen) -> FloatArray:
    """Return the ridge that lies where the shutter was not open, (N,), 0 to 1."""
    within = flight.gap * np.array([0.3, 0.5, 0.7])
    lit = _looked(seen.ridges[0], flight.places(speeds, flight.age + within)).mean(axis=1)
    lit = lit + _looked(seen.ridges[1], flight.places(speeds, flight.later - within)).mean(axis=1)
    lit = lit / 2
    if flight.age > 1.06:
        before = (flight.age - 1) * np.array([0.3, 0.5, 0.7, 0.85])
        lit = lit + _looked(seen.ridges[0], flight.places(speeds, before)).mean(axis=1)
    return np.asarray(np.minimum(lit, 1), np.float32)


def _looked(ridge: FloatArray, places: Float64Array) -> FloatArray:
    """Return the ridge at places (N, M, 2), (N, M)."""
    x, y = (np.ascontiguousarray(places[..., i], np.float32) for i in range(2))
    parts: Sequence[FloatArray] = [
        np.asarray(cv2.remap(ridge, x[row : row + ROWS], y[row : row + ROWS], cv2.INTER_LINEAR,
                             borderMode=cv2.BORDER_CONSTANT), np.float32)
        for row in range(0, max(len(x), 1), ROWS)
    ]  # fmt: skip
    return np.concatenate(parts).reshape(x.shape)
