"""How the camera's directions follow from few unknowns: one turning sky, or each frame its own.

Both say for every frame the turn from the reference's rays to its own, and how that changes with
the unknowns. The sky's turn is one axis and one rate for the whole burst.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from stacker.register.sky.points import Float64Array
from stacker.register.sky.turns import turn_about

# a step of the unknowns by which slopes are taken, radians at the end of the burst
SLOPE_STEP = 1e-6


class Turning(Protocol):
    """What the solver needs to know of a model of the camera's turns."""

    @property
    def turns(self) -> Float64Array:
        """From the reference's rays to each frame's, (F, 3, 3)."""

    @property
    def unknowns(self) -> int:
        """How many numbers describe the model."""

    def slopes(self) -> Float64Array:
        """Return the small turn of each frame's rays per unit of each unknown, (F, 3, U)."""

    def moved(self, step: Float64Array) -> Turning:
        """Return the model after a step (U,) of its unknowns."""


@dataclass(frozen=True, eq=False)
class SteadySky:
    """The sky turns about one axis at one rate.

    ``axis`` (3,) is the turn of rays per unit of time: its direction the pole's, its length the
    rate in radians. ``times`` (F,) are measured from the reference's.
    """

    axis: Float64Array
    times: Float64Array

    @property
    def turns(self) -> Float64Array:
        """From the reference's rays to each frame's, (F, 3, 3)."""
        return turn_about(self.times[:, None] * self.axis)

    @property
    def unknowns(self) -> int:
        """The axis."""
        return 3

    def slopes(self) -> Float64Array:
        """Return the small turn of each frame's rays per unit of the axis, (F, 3, 3)."""
        step = SLOPE_STEP / max(float(np.abs(self.times).max()), 1e-9)
        back = self.turns.transpose(0, 2, 1)
        columns = []
        for k in range(3):
            axis = self.axis.copy()
            axis[k] += step
            change = turn_about(self.times[:, None] * axis) @ back
            columns.append(_small(change) / step)
        return np.stack(columns, axis=2)

    def moved(self, step: Float64Array) -> SteadySky:
        """Return the sky after a step (3,) of its axis."""
        return replace(self, axis=self.axis + step)


@dataclass(frozen=True, eq=False)
class FreeTurns:
    """Each frame looks where it looks; the reference, whose number is ``fixed``, stays."""

    turns: Float64Array
    fixed: int

    @property
    def unknowns(self) -> int:
        """Three for each frame."""
        return 3 * len(self.turns)

    def slopes(self) -> Float64Array:
        """Return the small turn of each frame's rays per unit of each unknown, (F, 3, 3 F)."""
        count = len(self.turns)
        slopes = np.zeros((count, 3, count, 3))
        for number in range(count):
            if number != self.fixed:
                slopes[number, :, number] = np.eye(3)
        return slopes.reshape(count, 3, 3 * count)

    def moved(self, step: Float64Array) -> FreeTurns:
        """Return the turns after each was followed by a small one, ``step`` (3 F,)."""
        steps = step.reshape(-1, 3).copy()
        steps[self.fixed] = 0
        return replace(self, turns=turn_about(steps) @ self.turns)


def _small(turns: Float64Array) -> Float64Array:
    """Return the vectors (F, 3) of turns (F, 3, 3) by next to nothing."""
    return np.stack(
        [
            turns[:, 2, 1] - turns[:, 1, 2],
            turns[:, 0, 2] - turns[:, 2, 0],
            turns[:, 1, 0] - turns[:, 0, 1],
        ],
        axis=1,
    ) / 2  # fmt: skip
