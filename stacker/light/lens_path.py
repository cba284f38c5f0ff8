"""How a lens moves while the shutter is open: where it is when, and what that does to a picture.

A zoom, a turn and a drift together are one similarity, and the way to it is the steady one: its
fractional powers. Going on by a part of the way is then the same wherever one stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

Matrix = npt.NDArray[np.float64]

# of the time of a path with halts, what it stands still
HALTED = 0.8


@dataclass(frozen=True)
class LensPath:
    """A path of the lens.

    Parameters
    ----------
    zoom : by what the picture grows to the end, above 0; from 1 on nothing beyond it is needed.
    turn_deg : by what it turns, degrees, clockwise on the screen.
    drift_px : by what it shifts, px to the right and down.
    focus_px : radius of the disc that a point becomes, at the beginning and the end, px.
    centre : the point that zoom and turn leave where it is, x and y in px.
    halts : how many times it stands still, evenly spaced, both ends included; 0 for a steady path.
    rest : share of the time that it stands still at the beginning, 0 to 1.
    """

    zoom: float = 1.0
    turn_deg: float = 0.0
    drift_px: tuple[float, float] = (0.0, 0.0)
    focus_px: tuple[float, float] = (0.0, 0.0)
    centre: tuple[float, float] = (0.0, 0.0)
    halts: int = 0
    rest: float = 0.0

    @property
    def moves(self) -> bool:
        """Whether the picture moves, besides its focus."""
        return self.zoom != 1 or self.turn_deg != 0 or self.drift_px != (0, 0)

    @property
    def pulls_focus(self) -> bool:
        """Whether points become discs."""
        return max(self.focus_px) > 0

    def matrix(self, share: float) -> Matrix:
        """Return what a share of the way does to places, (2, 3): new = m[:, :2] @ old + m[:, 2]."""
        # places as complex numbers: one similarity is z -> a z + b, its powers are exact
        rate = complex(np.log(self.zoom), np.radians(self.turn_deg))
        centre, drift = complex(*self.centre), complex(*self.drift_px)
        factor = np.exp(rate * share)
        whole = np.exp(rate)
        # the drift adds up along the way, and grows and turns with it
        carried = share if abs(whole - 1) < 1e-12 else (factor - 1) / (whole - 1)
        shift = centre - factor * centre + drift * carried
        return np.array(
            [[factor.real, -factor.imag, shift.real], [factor.imag, factor.real, shift.imag]]
        )

    def farthest_px(self, size: tuple[int, int]) -> float:
        """Return how far the whole way takes any place of a picture (width, height), px.

        Along the way, which may be bent; no less than that from end to end.
        """
        width, height = size
        corners = np.array([(x, y) for x in (0, width - 1) for y in (0, height - 1)], float)
        shares = np.linspace(0, 1, 65)
        ways = np.stack([corners @ m[:, :2].T + m[:, 2] for m in map(self.matrix, shares)])
        return float(np.linalg.norm(np.diff(ways, axis=0), axis=2).sum(axis=0).max())

    def legs(self, begin: float, end: float) -> Iterator[tuple[float, float, float]]:
        """Yield what happens between two moments, 0 to 1: a share of that time, and from where to
        where on the way.

        Where both places are the same the lens stands.
        """
        for start, stop, first, last in self._timetable():
            low, high = max(begin, start), min(end, stop)
            if high - low <= 0:
                continue
            speed = (last - first) / (stop - start)
            there = first + speed * (low - start)
            yield (high - low) / (end - begin), there, there + speed * (high - low)

    def _timetable(self) -> list[tuple[float, float, float, float]]:
        """Return from when to when the lens goes from where to where."""
        moving = 1 - self.rest
        table = [(0.0, self.rest, 0.0, 0.0)] if self.rest > 0 else []
        if self.halts < 2:
            return [*table, (self.rest, 1.0, 0.0, 1.0)] if moving > 0 else table
        halt = HALTED * moving / self.halts
        move = (1 - HALTED) * moving / (self.halts - 1)
        now = self.rest
        for number in range(self.halts):
            place = number / (self.halts - 1)
            table.append((now, now + halt, place, place))
            now += halt
            if number + 1 < self.halts:
                table.append((now, now + move, place, (number + 1) / (self.halts - 1)))
                now += move
        return table


def inverted(matrix: Matrix) -> Matrix:
    """Return what takes places back, (2, 3)."""
    return np.asarray(cv2.invertAffineTransform(matrix), np.float64)
