"""The flight of a shell's sparks: one place, one age, one drag and one fall for all of them.

Times are in shutters and begin when the shell bursts; places are px, x right and y down. Where air
slows a spark by a share ``k`` of its speed, it is at ``c + f(t) v + g h(t)`` with
``f = (1 - exp(-k t)) / k`` and ``h = (t - f) / k``: only ``v`` is its own.

Source: the law of linear drag, as in any textbook of mechanics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float64Array = npt.NDArray[np.float64]

# steps in which the five numbers of a law are varied for its derivatives
STEPS = (0.01, 0.01, 1e-3, 1e-3, 0.05)
LEAST_AGE, LEAST_DRAG = 0.04, 0.1


def flown(age: Float64Array | float, drag: float) -> Float64Array:
    """Return how far a spark of unit speed has come at an age, without its fall."""
    return np.asarray(-np.expm1(-drag * np.asarray(age)) / drag, float)


def fallen(age: Float64Array | float, drag: float) -> Float64Array:
    """Return how far a spark has fallen at an age under unit gravity."""
    return np.asarray((np.asarray(age) - flown(age, drag)) / drag, float)


@dataclass(frozen=True, eq=False)
class Flight:
    """The law of a shell about a gap.

    Parameters
    ----------
    centre : (2,) px, where it burst.
    age : when the earlier shutter closed, in shutters.
    drag, fall : per shutter, and px per squared shutter.
    gap : in shutters.
    """

    centre: Float64Array
    age: float
    drag: float
    fall: float
    gap: float

    @property
    def opened(self) -> float:
        """Its age when the earlier shutter opened, 0 where it burst later."""
        return max(self.age - 1.0, 0.0)

    @property
    def later(self) -> float:
        """Its age when the later shutter opened."""
        return self.age + self.gap

    @property
    def numbers(self) -> Float64Array:
        """The five numbers of the law: centre, age, drag, fall."""
        return np.array([*self.centre, self.age, self.drag, self.fall])

    def with_numbers(self, numbers: Float64Array) -> Flight:
        """Return the law with other numbers, kept to what is possible."""
        x, y, age, drag, fall = (float(number) for number in numbers)
        centre = np.array([x, y])
        return Flight(centre, max(age, LEAST_AGE), max(drag, LEAST_DRAG), max(fall, 0.0), self.gap)

    def places(self, speeds: Float64Array, ages: Float64Array) -> Float64Array:
        """Return where sparks of ``speeds`` (N, 2) are at ``ages`` (M,), (N, M, 2)."""
        ages = np.maximum(ages, 0)
        at = self.centre + speeds[:, None] * flown(ages, self.drag)[None, :, None]
        at[..., 1] += self.fall * fallen(ages, self.drag)
        return at

    def speeds(self, places: Float64Array, age: float) -> Float64Array:
        """Return the speeds at the burst of sparks that are at ``places`` (N, 2) at an age."""
        way = places - self.centre
        way[:, 1] -= self.fall * fallen(age, self.drag)
        return np.asarray(way / flown(age, self.drag), float)

    def leaving(self, speeds: Float64Array) -> Float64Array:
        """Return where sparks are when the earlier shutter closes, (N, 2)."""
        return self.places(speeds, np.array([self.age]))[:, 0]

    def changed_by(self, speeds: Float64Array, ages: Float64Array) -> list[Float64Array]:
        """Return how places (N, M, 2) change with each of the five numbers, where the earlier
        shutter's closing finds the sparks at the same places; ages change along."""
        base, kept = self.places(speeds, ages), self.leaving(speeds)
        out = []
        for number, step in enumerate(STEPS):
            numbers = self.numbers
            numbers[number] += step
            other = self.with_numbers(numbers)
            moved = ages + (step if number == 2 else 0.0)
            out.append((other.places(other.speeds(kept, other.age), moved) - base) / step)
        return out

    def magnified(self, scale: float) -> Flight:
        """Return the law on a picture so many times as large."""
        centre = (self.centre + 0.5) * scale - 0.5
        return Flight(centre, self.age, self.drag, self.fall * scale, self.gap)
