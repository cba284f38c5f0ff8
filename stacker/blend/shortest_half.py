"""What most frames agree on at a pixel, and the noise that they agree within.

The shortest half of a pixel's values, as that of the frames in which it is free, does not feel
the others, whatever these are.

Source: P. J. Rousseeuw and A. M. Leroy, Robust Regression and Outlier Detection (1987), section
4.4.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from stacker.blend.network import run_network, sorting_network
from stacker.light.encoding import LightArray

# roots of light that nothing is told below, about half a code of 8 bits: a lossy file takes the
# noise out of what is smooth
LEAST_NOISE = 0.0025
# bins of light, and pixels of a bin that tell anything
LEVELS, LEAST_IN_BIN = 16, 100
# pixels of pure noise that tell how wide the shortest half of so many values is
TRIALS = 20_000

FloatArray = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Noise:
    """The standard deviation of noise in roots of light, by the root it has: both float64 (K,)."""

    levels: npt.NDArray[np.float64]
    sigmas: npt.NDArray[np.float64]

    def at(self, roots: FloatArray) -> FloatArray:
        """Return the noise at each root of light, float32 of their shape."""
        return np.interp(roots, self.levels, self.sigmas).astype(np.float32)


def as_roots(light: LightArray) -> FloatArray:
    """Return roots of light, in which noise is about even; those of negative light are negative."""
    return np.asarray(np.copysign(np.sqrt(np.abs(light)), light), np.float32)


def shortest_half(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the mean and the width of the narrowest half of each column's values.

    Parameters
    ----------
    values : float32 (N, ...).
    """
    count, half = len(values), _half(len(values))
    rows = [row.copy() for row in values]
    ranked, _ = run_network(sorting_network(count), rows, np.empty_like(rows[0]))
    total = np.zeros(values.shape[1:])
    for row in ranked[:half]:
        total += row
    width, centre = ranked[half - 1] - ranked[0], total.copy()
    for start in range(1, count - half + 1):
        # the next half has one value less below and one more above
        total += ranked[start + half - 1]
        total -= ranked[start - 1]
        narrower = ranked[start + half - 1] - ranked[start]
        better = narrower < width
        np.copyto(width, narrower, where=better)
        np.copyto(centre, total, where=better)
    return np.asarray(centre / half, np.float32), np.asarray(width, np.float32)


def _half(count: int) -> int:
    # of two frames nobody knows which one shows the background
    return (count + 1) // 2 if count > 2 else count


def learn_noise(roots: FloatArray) -> Noise:
    """Return the noise of single frames by the level of light.

    Parameters
    ----------
    roots : float32 (N, K, 3), roots of light of N frames at K pixels.

    Notes
    -----
    Half of the pixels of a level may be restless before its noise seems greater than it is.
    """
    centre, width = (each.reshape(-1) for each in shortest_half(roots))
    edges = np.unique(np.quantile(centre, np.linspace(0, 1, LEVELS + 1)))
    levels, sigmas = [], []
    for low, high in itertools.pairwise(edges):
        inside = (centre >= low) & (centre <= high)
        if inside.sum() >= LEAST_IN_BIN:
            levels.append(float(low + high) / 2)
            sigmas.append(float(np.median(width[inside])))
    if not levels:
        levels, sigmas = [0.0], [float(np.median(width))]
    alone = width_of_noise(len(roots))
    return Noise(np.array(levels), np.maximum(np.array(sigmas) / alone, LEAST_NOISE))


@cache
def width_of_noise(count: int) -> float:
    """Return how wide the shortest half of so many values is under noise of deviation 1.

    No formula is as short as trying it out. One value has no width; it tells no noise.
    """
    trial = np.random.default_rng(0).normal(size=(count, TRIALS)).astype(np.float32)
    return float(np.median(shortest_half(trial)[1])) or 1.0
