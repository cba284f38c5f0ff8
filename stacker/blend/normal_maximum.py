"""How far the greatest of N normal values lies above their mean.

Source: H. A. David, H. N. Nagaraja, "Order Statistics", 3rd edition, 2003, sections 2.1 and 4.5.
The mean of normal values is independent of how they lie about it, so the greatest less the mean
varies less than the greatest alone, by the variance 1/N of the mean; its shape is taken as that
of the greatest, drawn in by so much.

=================  ===========================  ===============================================
function           domain                       range
=================  ===========================  ===============================================
``quantile``       share in (0, 1)              excess in standard deviations of one value
``scores``         excess, clipped to [-1, 12]  standard normal deviates of equal rank
=================  ===========================  ===============================================
"""

from __future__ import annotations

import math
from functools import cached_property, lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import CODE_MAX, LightArray, look_up

LOWEST, HIGHEST = -1.0, 12.0
# of deviates that are coded in 8 bits
LOWEST_DEVIATE, HIGHEST_DEVIATE = -6.0, 12.0
STEPS_PER_DEVIATE = 255 / (HIGHEST_DEVIATE - LOWEST_DEVIATE)
# where the curve of scores is worked out; straight between
KNOTS = 1024
# a rank nearer to 0 or 1 than this says no more
LEAST_SHARE = 1e-300
NORMAL = NormalDist()


class MaximumOfNormals:
    """The distribution of the greatest of ``count`` (2 or more) normal values less their mean."""

    def __init__(self, count: int) -> None:
        self.count = count
        grid = np.linspace(-8.0, 12.0, 8001)
        below = np.array([self._share_below(value) for value in grid])
        density = np.diff(below)
        middle = 0.5 * (grid[1:] + grid[:-1])
        self.mean = float((density * middle).sum())
        variance = float((density * (middle - self.mean) ** 2).sum())
        self._drawn_in = math.sqrt(max(1 - 1 / (count * variance), 0.0))

    def _share_above(self, value: float) -> float:
        """Return the probability that the greatest value lies above ``value``."""
        above = 0.5 * math.erfc(value / math.sqrt(2))
        return -math.expm1(self.count * math.log1p(-above)) if above < 1 else 1.0

    def _share_below(self, value: float) -> float:
        return 1.0 - self._share_above(value)

    def quantile(self, share: float) -> float:
        """Return the excess that a share of all cases stays below."""
        greatest = NORMAL.inv_cdf(share ** (1 / self.count))
        return self.mean + (greatest - self.mean) * self._drawn_in

    @cached_property
    def _score_table(self) -> npt.NDArray[np.uint8]:
        """The coded score of evenly spaced excesses from lowest to highest, uint8 (65536,)."""
        knots = np.linspace(LOWEST, HIGHEST, KNOTS)
        scores = [self._score(float(excess)) for excess in knots]
        fine = np.linspace(LOWEST, HIGHEST, CODE_MAX + 1)
        return coded(np.interp(fine, knots, scores).astype(np.float32))

    def _score(self, excess: float) -> float:
        greatest = self.mean + (excess - self.mean) / self._drawn_in
        above = self._share_above(greatest)
        return -NORMAL.inv_cdf(min(max(above, LEAST_SHARE), 1 - 1e-15))

    def scores(self, excess: LightArray) -> npt.NDArray[np.uint8]:
        """Return the normal deviate of the rank that each excess has, coded as by ``coded``."""
        index = np.clip(excess, np.float32(LOWEST), np.float32(HIGHEST))
        index -= np.float32(LOWEST)
        index *= np.float32(CODE_MAX / (HIGHEST - LOWEST))
        return look_up(index.astype(np.uint16), self._score_table)


def coded(deviates: LightArray) -> npt.NDArray[np.uint8]:
    """Return normal deviates as uint8 of the same shape, clipped to [-6, 12].

    A step is a fourteenth of a standard deviation: a quarter of the memory of floats.
    """
    steps = (deviates - np.float32(LOWEST_DEVIATE)) * np.float32(STEPS_PER_DEVIATE)
    steps += np.float32(0.5)
    return np.asarray(np.clip(steps, 0, 255), np.uint8)


@lru_cache(maxsize=4)
def maximum_of_normals(count: int) -> MaximumOfNormals:
    """Return the distribution for a count of values; made once."""
    return MaximumOfNormals(count)
