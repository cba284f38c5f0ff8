"""A mean that leaves out what lies far from the rest: few odd frames vanish, noise averages.

The centre is the median. The spread is taken from the shortest stretch that holds half of the
values, so that odd values, up to nearly half of them, do not widen it.

Source: P. J. Rousseeuw and A. M. Leroy, Robust Regression and Outlier Detection (1987),
section 4.4: the shortest half and its factor for small samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
import numpy.typing as npt

from stacker.blend.base import Blend
from stacker.blend.held_frames import HeldFrames, held_row_bytes
from stacker.blend.intake import Intake
from stacker.blend.network import run_network, sorting_network
from stacker.light.encoding import LightArray, decode

# half the length of the shortest half of a normal distribution, to its standard deviation
SIGMA_PER_HALF_LENGTH = 1.4826
SMALL_SAMPLE = 5.0
# a spread below this many codes is rounding, not noise
LEAST_SIGMA_CODES = 0.5


class TrimmedAccumulator(HeldFrames):
    """All values of a pixel; their mean without those beyond the limits."""

    def __init__(self, intake: Intake, rows: int, width: int, low: float, high: float) -> None:
        super().__init__(intake, rows, width)
        self.low, self.high = low, high

    def _blend(self, values: npt.NDArray[Any], weights: npt.NDArray[np.float64]) -> LightArray:
        if weights.shape[1] == 1 and np.all(weights == 1.0):
            rows = [np.ascontiguousarray(row) for row in values]
            ranked, _ = run_network(sorting_network(len(rows)), rows, np.empty_like(rows[0]))
            light = np.stack([decode(row, self.intake.encoding) for row in ranked])
            return self._trimmed_mean(light, np.ones((len(rows), 1)))
        return self._blend_masked(values, np.broadcast_to(weights, values.shape))

    def _blend_masked(
        self, values: npt.NDArray[Any], weights: npt.NDArray[np.float64]
    ) -> LightArray:
        """Blend with weights that differ: pixels with equally many valid values together."""
        invalid = weights == 0
        order = np.lexsort((values, invalid), axis=0)
        ranked = decode(np.take_along_axis(values, order, axis=0), self.intake.encoding)
        weight = np.take_along_axis(weights, order, axis=0)
        count = len(values) - invalid.sum(axis=0)
        light = np.zeros(values.shape[1], np.float32)
        for valid in np.unique(count[count > 0]):
            where = count == valid
            light[where] = self._trimmed_mean(ranked[:valid, where], weight[:valid, where])
        return light

    def _trimmed_mean(self, light: LightArray, weight: npt.NDArray[np.float64]) -> LightArray:
        """Return the mean of ranked light (frames, values) within the limits."""
        centre = (light[(len(light) - 1) // 2] + light[len(light) // 2]) * np.float32(0.5)
        sigma = np.maximum(spread_of_ranked(light), self._rounding(centre))
        kept = light >= centre - np.float32(self.low) * sigma
        kept &= light <= centre + np.float32(self.high) * sigma
        total = np.zeros(centre.shape)
        mean = np.zeros(centre.shape)
        # ranked values are added in the same order whatever order the frames came in
        for values, counts, share in zip(light, kept, weight, strict=True):
            total += counts * share
            mean += counts * share * values
        # of two values far apart neither may lie within the limits of the centre between them
        mean = np.divide(mean, total, out=centre.astype(np.float64), where=total > 0)
        return np.asarray(mean, np.float32)

    def _rounding(self, centre: LightArray) -> LightArray | float:
        """Return the least spread that can be told from rounding of the codes."""
        encoding = self.intake.encoding
        if encoding.is_light:
            return 0.0
        code = encoding.curve.from_light(centre)
        step = encoding.curve.to_light(code + 1.0 / encoding.top) - centre
        return np.asarray(LEAST_SIGMA_CODES * step, np.float32)


def spread_of_ranked(light: LightArray) -> LightArray:
    """Return the standard deviation, float32 (values,), of ranked light (frames, values)."""
    count = len(light)
    if count < 3:
        # two values cannot tell which of them is odd
        return np.full(light.shape[1:], np.inf, np.float32)
    half = count // 2 + 1
    shortest = np.min(light[half - 1 :] - light[: count - half + 1], axis=0)
    factor = SIGMA_PER_HALF_LENGTH * (1 + SMALL_SAMPLE / (count - 1)) / 2
    return np.asarray(shortest * np.float32(factor), np.float32)


@dataclass(frozen=True)
class Trimmed(Blend):
    """The mean without values that lie more than so many standard deviations off.

    Parameters
    ----------
    low, high : the limits below and above the centre, in standard deviations, above 0.
    """

    low: float = 3.0
    high: float = 3.0

    name: ClassVar[str] = "trimmed"
    summary: ClassVar[str] = "mean without outliers: a plane or a passer-by in few frames goes"

    def __post_init__(self) -> None:
        if not (self.low > 0 and self.high > 0):
            raise ValueError(f"limits {self.low:g} and {self.high:g} are not above 0")

    def start(self, intake: Intake, rows: int, width: int) -> TrimmedAccumulator:
        """Return an empty accumulator for a piece of the picture."""
        return TrimmedAccumulator(intake, rows, width, self.low, self.high)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        return held_row_bytes(intake, width)
