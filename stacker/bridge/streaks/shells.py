"""The sparks of one firework shell, which all go on alike.

They fly from one place at one time. Where air slows each by a share of its speed and all fall
alike, a spark is at ``c + f(t) v + h(t)``, with its own ``v`` and what is common to all: two times
are tied by one scale and one shift, and so are the headings at a time by one place they radiate
from. That tells who goes on as whom where sparks cross, and where to look for one that is hidden.

Source: the law of linear drag, as in any textbook of mechanics; the vote over scale and shift is
a Hough transform (P. V. C. Hough, US patent 3069654, 1962).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.streak import Streak

Float64Array = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# so many streaks in both frames may hold a shell; no more than so many shells are looked for
LEAST_STREAKS, MOST_SHELLS = 20, 6
# a pair may belong together when the later end lies no farther than so many times the way of
# the longer of both in that time, px more, and ahead of both headings (cosine)
REACH, REACH_PX, AHEAD = 4.0, 12.0, 0.25
# sparks are white at first and then take their colour: the most that colours may be apart
MOST_APART = 0.35
# scales that are tried, from one on, each so many times the one before; places are told apart by
# this share of a usual streak, and no finer than so many px
SCALES, SCALE_STEP = 56, 1.033
CELL_SHARE, CELL_PX = 0.12, 3.0
# how far a spark may be from its place, px and as a share of its way
OFF_PX, OFF_SHARE = 1.2, 0.08
REFINED, TRIED = 5, 12
# a shell has so many sparks in both frames, and so many times those found in a mirrored frame
LEAST_SPARKS, TIMES_CHANCE = 9, 2.0
# the headings of at least such a share point away from their place to this cosine
RADIATE, MOST_RADIATE = 0.94, 0.6


@dataclass(frozen=True, eq=False)
class Tips:
    """The ends of a frame's streaks that no border cuts: place (N, 2), heading (N, 2), share of the
    channels (N, 3), length of the streak (N,), number of the streak and of the end (N,)."""

    place: Float64Array
    heading: Float64Array
    colour: Float64Array
    length: Float64Array
    streak: npt.NDArray[np.intp]
    end: npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Shell:
    """How the sparks of a shell go on through a gap: from ``p`` to ``scale * p + shift``.

    ``pairs`` (N, 2) are the numbers of tips of the earlier and later frame that bear it out;
    ``rays`` are the two places from which its headings radiate, before the gap and after it.
    """

    scale: float
    shift: Float64Array
    pairs: npt.NDArray[np.intp]
    rays: tuple[Float64Array, Float64Array]

    def carried(self, places: Float64Array) -> Float64Array:
        """Return where sparks come in after the gap that leave at ``places`` (N, 2) before it."""
        return self.scale * places + self.shift

    def back(self, places: Float64Array) -> Float64Array:
        """Return where sparks left before the gap that come in at ``places`` (N, 2) after it."""
        return (places - self.shift) / self.scale


def tips_of(streaks: Sequence[Streak]) -> Tips:
    """Return the ends of streaks that are known and whole."""
    chosen = [(i, e) for i, streak in enumerate(streaks) for e in (0, 1)
              if not streak.ends[e].cut and not streak.followed]  # fmt: skip
    ends = [streaks[i].ends[e] for i, e in chosen]
    light = np.array([np.maximum(end.light, 1e-6) for end in ends], float).reshape(-1, 3)
    return Tips(
        np.array([end.place for end in ends], float).reshape(-1, 2),
        np.array([end.heading for end in ends], float).reshape(-1, 2),
        light / light.sum(axis=1, keepdims=True),
        np.array([streaks[i].length for i, _ in chosen], float),
        np.array([i for i, _ in chosen], np.intp),
        np.array([e for _, e in chosen], np.intp),
    )


def find_shells(
    one: Sequence[Streak], two: Sequence[Streak], first: Exposed, second: Exposed
) -> list[Shell]:
    """Return the shells whose sparks are seen before and after the gap, the largest first."""
    if min(len(one), len(two)) < LEAST_STREAKS:
        return []
    gap = max(second.start_s - first.end_s, 0.0) / min(first.shutter_s, second.shutter_s)
    before, after = tips_of(one), tips_of(two)
    chance = len(_best(before, _mirrored(after), gap)[2])
    least = max(LEAST_SPARKS, TIMES_CHANCE * chance)
    shells: list[Shell] = []
    free = (np.ones(len(before.place), bool), np.ones(len(after.place), bool))
    for _ in range(MOST_SHELLS):
        scale, shift, pairs = _best(before, after, gap, free)
        if len(pairs) < least:
            break
        free[0][pairs[:, 0]] = free[1][pairs[:, 1]] = False
        out = before.place[pairs[:, 0]], before.heading[pairs[:, 0]]
        into = after.place[pairs[:, 1]], -after.heading[pairs[:, 1]]
        rays = (_rays(*out), _rays(*into))
        if (radiate(rays[0], *out) & radiate(rays[1], *into)).sum() >= MOST_RADIATE * len(pairs):
            shells.append(Shell(scale, shift, pairs, rays))
    return shells


def radiate(middle: Float64Array, places: Float64Array, headings: Float64Array) -> BoolArray:
    """Return which headings (N, 2) point away from a middle."""
    away = places - middle
    far = np.maximum(np.hypot(*away.T), 1e-9)
    return np.asarray((away * headings).sum(axis=1) > RADIATE * far, bool)


def _mirrored(tips: Tips) -> Tips:
    """Return tips as a mirror shows them, among which nothing goes on."""
    place, heading = tips.place.copy(), tips.heading.copy()
    if len(place):
        place[:, 0] = place[:, 0].min() + place[:, 0].max() - place[:, 0]
    heading[:, 0] *= -1
    return Tips(place, heading, tips.colour, tips.length, tips.streak, tips.end)


def _candidates(before: Tips, after: Tips, gap: float) -> tuple[npt.NDArray[np.intp], ...]:
    """Return the numbers of tips before and after the gap that may belong together."""
    across = after.place[None] - before.place[:, None]
    far = np.hypot(across[..., 0], across[..., 1])
    longer = np.maximum(before.length[:, None], after.length[None])
    possible = far < REACH * gap * longer + REACH_PX
    ahead = AHEAD * far - OFF_PX
    possible &= (across * before.heading[:, None]).sum(axis=2) > ahead
    possible &= -(across * after.heading[None]).sum(axis=2) > ahead
    apart = np.linalg.norm(before.colour[:, None] - after.colour[None], axis=2)
    return np.nonzero(possible & (apart < MOST_APART))


def _best(
    before: Tips, after: Tips, gap: float, free: tuple[BoolArray, BoolArray] | None = None
) -> tuple[float, Float64Array, npt.NDArray[np.intp]]:
    """Return scale and shift on which the most pairs of tips agree, and these pairs (N, 2)."""
    i, j = _candidates(before, after, gap)
    if free is not None:
        kept = free[0][i] & free[1][j]
        i, j = i[kept], j[kept]
    none = (1.0, np.zeros(2), np.zeros((0, 2), np.intp))
    if len(i) < LEAST_SPARKS:
        return none
    p, q = before.place[i], after.place[j]
    cell = max(CELL_PX, CELL_SHARE * float(np.median(after.length)))
    middle = np.median(p, axis=0)
    best = none
    for scale, aside in _voted(p - middle, q - middle, cell):
        shift = aside + middle - scale * middle
        pairs = none[2]
        for turn in range(REFINED):
            loose = cell * (1 - turn / (REFINED - 1))
            pairs = agreeing(i, j, p, q, scale, shift, loose)
            if len(pairs) < LEAST_SPARKS:
                break
            scale, shift = _fitted(before.place[pairs[:, 0]], after.place[pairs[:, 1]])
        if len(pairs) > max(len(best[2]), LEAST_SPARKS - 1):
            best = (scale, shift, pairs)
    return best


def _voted(p: Float64Array, q: Float64Array, cell: float) -> list[tuple[float, Float64Array]]:
    """Return the scales and shifts that take the most of ``p`` (N, 2) to ``q``, no scale twice."""
    found = []
    for number in range(SCALES):
        scale = SCALE_STEP**number
        at = (q - scale * p) / cell
        low = at.min(axis=0)
        column, row = np.floor(at - low).astype(np.intp).T
        votes = np.zeros((int(row.max()) + 1, int(column.max()) + 1), np.float32)
        np.add.at(votes, (row, column), 1)
        # neighbours share what falls on their border
        votes = np.asarray(cv2.blur(votes, (3, 3), borderType=cv2.BORDER_CONSTANT), np.float32)
        y, x = np.unravel_index(int(votes.argmax()), votes.shape)
        found.append((float(votes.max()), scale, (np.array([x, y]) + 0.5 + low) * cell))
    # a cluster of ends votes often for what only few of them can be
    found.sort(key=lambda one: -one[0])
    return [(scale, shift) for _, scale, shift in found[:TRIED]]


def agreeing(
    i: npt.NDArray[np.intp], j: npt.NDArray[np.intp], p: Float64Array, q: Float64Array,
    scale: float, shift: Float64Array, loose: float,
) -> npt.NDArray[np.intp]:  # fmt: skip
    """Return the pairs that agree with scale and shift, each tip in one only, the best first."""
    off = np.hypot(*(q - scale * p - shift).T)
    allowed = OFF_PX + OFF_SHARE * np.hypot(*(q - p).T) + loose
    order = np.argsort(off / allowed, kind="stable")
    order = order[off[order] < allowed[order]]
    one, two, kept = set[int](), set[int](), []
    for k in order.tolist():
        if i[k] not in one and j[k] not in two:
            one.add(i[k])
            two.add(j[k])
            kept.append((i[k], j[k]))
    return np.array(kept, np.intp).reshape(-1, 2)


def _fitted(p: Float64Array, q: Float64Array) -> tuple[float, Float64Array]:
    """Return the scale and shift that take ``p`` (N, 2) to ``q`` with the least squares."""
    a, b = p.mean(axis=0), q.mean(axis=0)
    scale = float(((p - a) * (q - b)).sum() / max(float(((p - a) ** 2).sum()), 1e-9))
    return scale, b - scale * a


def _rays(places: Float64Array, headings: Float64Array) -> Float64Array:
    """Return the place from which ``headings`` (N, 2) at ``places`` radiate."""
    # headings as a linear law of places: a start for what follows, even when it is far away
    mean = places.mean(axis=0)
    away = places - mean
    spread = max(float((away * headings).sum() / np.square(away).sum()), 1e-4)
    middle = mean - headings.mean(axis=0) / spread
    normal = np.stack([-headings[:, 1], headings[:, 0]], axis=1)
    side = (normal * places).sum(axis=1)
    for _ in range(8):
        # the least angles by which headings miss it, outliers counting less
        far = np.maximum(np.hypot(*(places - middle).T), 1.0)
        miss = np.abs(side - normal @ middle) / far
        weight = 1 / (np.maximum(miss, 0.03) * far**2)
        matrix = np.einsum("n,ni,nj->ij", weight, normal, normal)
        middle = np.linalg.lstsq(matrix, (weight * side) @ normal, rcond=None)[0]
    return np.asarray(middle, float)
