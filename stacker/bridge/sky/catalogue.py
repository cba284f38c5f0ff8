"""The stars of a burst: peaks of light that come back, frame after frame, where the sky takes them.

A peak alone may be noise. One that is met again along the way of a star, in several frames, is a
star, however faint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stacker.register.sky.lens import Lens
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray

# how near to its place a star must be found, px of the reduced picture
REACH_PX = 2.0
# a star must be found so often, and in this share of the frames in which it stands; clouds may
# hide it, and noise may cover a faint one
LEAST_FOUND, LEAST_SHARE = 4, 0.25
# one that is found less often, because it sets, leaves the picture or has few frames, but twice at
# least, must be this strong: the sum of the squares of its peaks, in standard deviations, which
# three of noise hardly reach
STRONG = 60.0
# those met less often are forgotten once they should have been seen so often
TRIED = 5
MOST_STARS = 12_000


@dataclass(frozen=True, eq=False)
class Gathered:
    """Stars so far: sums of directions (S, 3), and of the squares of their ``strength`` (S,), how
    often ``found`` and ``expected`` (S,)."""

    total: Float64Array
    strength: Float64Array
    found: IntArray
    expected: IntArray

    @property
    def rays(self) -> Float64Array:
        """Their directions, (S, 3)."""
        return np.asarray(self.total / np.linalg.norm(self.total, axis=1, keepdims=True))

    def chosen(self, keep: BoolArray | IntArray) -> Gathered:
        """Return the stars that ``keep`` names."""
        return Gathered(
            self.total[keep], self.strength[keep], self.found[keep], self.expected[keep]
        )


def stars_of(
    peaks: Sequence[Float64Array], strengths: Sequence[Float64Array],
    turns: Sequence[Float64Array | None], lens: Lens,
) -> Float64Array:  # fmt: skip
    """Return the stars behind the peaks of all frames, as the reference's rays (S, 3), those found
    most often first.

    Parameters
    ----------
    peaks : of each frame, px (N, 2) of the picture that ``lens`` shows.
    strengths : of each frame's peaks (N,), in standard deviations.
    turns : from the reference's rays to each frame's, None where it is lost.
    """
    stars = Gathered(np.zeros((0, 3)), np.zeros(0), np.zeros(0, np.intp), np.zeros(0, np.intp))
    for place, strength, turn in zip(peaks, strengths, turns, strict=True):
        if turn is not None:
            stars = _with_frame(stars, place, strength, turn, lens)
    often = stars.found >= LEAST_FOUND
    often |= (stars.found >= 2) & (stars.strength >= STRONG)
    stars = stars.chosen(often & (stars.found >= LEAST_SHARE * stars.expected))
    order = np.argsort(-stars.found, kind="stable")[:MOST_STARS]
    return stars.chosen(order).rays


def _with_frame(
    stars: Gathered, place: Float64Array, strength: Float64Array, turn: Float64Array, lens: Lens
) -> Gathered:  # fmt: skip
    """Return the stars with one more frame's peaks."""
    there = lens.project(stars.rays @ turn.T)
    inside = ((there >= 0) & (there <= np.array(lens.size) - 1)).all(axis=1)
    star, distance = nearest_on_grid(place, there, lens.size, REACH_PX)
    met = star >= 0
    # of several peaks about a star the nearest is it; the others are no new stars
    order = np.flatnonzero(met)[np.argsort(-distance[met], kind="stable")]
    own = np.full(len(there), -1)
    own[star[order]] = order
    found = np.flatnonzero(own >= 0)
    rays = lens.rays(place) @ turn
    total, square = stars.total.copy(), stars.strength.copy()
    expected, times = stars.expected + inside, stars.found.copy()
    total[found] += rays[own[found]]
    square[found] += strength[own[found]] ** 2
    times[found] += 1
    expected = np.maximum(expected, times)
    new = rays[~met]
    one = np.ones(len(new), np.intp)
    every = Gathered(
        np.concatenate([total, new]), np.concatenate([square, strength[~met] ** 2]),
        np.concatenate([times, one]), np.concatenate([expected, one]),
    )  # fmt: skip
    doubtful = (every.expected >= TRIED) & (every.found < LEAST_SHARE * every.expected)
    return every.chosen(~doubtful)


def nearest_on_grid(
    points: Float64Array, others: Float64Array, size: tuple[int, int], reach_px: float
) -> tuple[IntArray, Float64Array]:
    """Return for each of ``points`` (N, 2) in a picture the number of the nearest of ``others``
    (M, 2) within reach, -1 where there is none, and its distance.

    By a grid of cells as wide as the reach, each of which remembers one of its points: thousands of
    points, of which two in a cell are one as good as the other.
    """
    columns, rows = (int(side / reach_px) + 3 for side in size)
    cells = np.full((rows, columns), -1, np.intp)
    inside = ((others > -reach_px) & (others < np.array(size) + reach_px)).all(axis=1)
    x, y = (others[inside] / reach_px + 1).astype(np.intp).T
    cells[y, x] = np.flatnonzero(inside)
    best = np.full(len(points), -1, np.intp)
    least = np.full(len(points), np.inf)
    x, y = (points / reach_px + 1).astype(np.intp).T
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            number = cells[np.clip(y + dy, 0, rows - 1), np.clip(x + dx, 0, columns - 1)]
            there = number >= 0
            distance = np.full(len(points), np.inf)
            distance[there] = np.linalg.norm(points[there] - others[number[there]], axis=1)
            nearer = (distance <= reach_px) & (distance < least)
            best[nearer], least[nearer] = number[nearer], distance[nearer]
    return best, least
