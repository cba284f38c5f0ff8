"""Hot and dead pixels in masters, and the noise that they have to stand out from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.mending import BadMask
from stacker.light.neighbours import local_median, phases

# standard deviations of a normal distribution in its median absolute deviation
SIGMA_PER_MAD = 1.4826
# in a master, whose noise is what is left after the median
MASTER_SIGMAS = 5.0
# so much of its colour's usual response, seen in a flat, and a photosite is dead
DEAD_RESPONSE = 0.3
LEVELS = 24
SAMPLE = 400_000


@dataclass(frozen=True)
class Grid:
    """How colours lie in what is looked at.

    Parameters
    ----------
    period : steps to the next place of the same colour.
    balance : what photosites are multiplied by for white to come out even, by row and column
        within a period; None for finished pictures, where hot photosites are blobs.
    least_sigma : noise below this is rounding.
    """

    period: int
    least_sigma: float
    balance: tuple[tuple[float, ...], ...] | None = None

    @property
    def reach(self) -> int:
        """How far about a place one has to look."""
        return self.period + 1


def outliers(master: LightArray, grid: Grid) -> BadMask:
    """Return where a master dark is far brighter than around, bool (H, W).

    Parameters
    ----------
    master : float32 (H, W) or (H, W, 3); not changed.
    """
    bad = np.zeros(master.shape[:2], bool)
    if master.ndim == 3:
        for channel in range(master.shape[2]):
            plane = np.ascontiguousarray(master[..., channel])
            bad |= _far_above(plane - local_median(plane, grid.period), grid)
        return bad
    excess = master - local_median(master, grid.period)
    for phase in phases(grid.period):
        if excess[phase].size:
            bad[phase] = _far_above(excess[phase], grid)
    return bad


def _far_above(excess: LightArray, grid: Grid) -> BadMask:
    """Return where one colour stands out of its own noise."""
    sigma = max(float(sigma_of(sampled(excess))[0]), grid.least_sigma)
    return np.asarray(excess > MASTER_SIGMAS * sigma)


def unresponsive(gain: LightArray, grid: Grid) -> BadMask:
    """Return where a flat field says that a photosite hardly sees any light, bool (H, W)."""
    dead = gain < DEAD_RESPONSE * local_median(gain, grid.period)
    return np.asarray(dead if gain.ndim == 2 else dead.any(axis=2))


def sampled(values: LightArray, parts: float = 1.0) -> LightArray:
    """Return about ``SAMPLE`` / ``parts`` of the values, by channel: float32 (n, C)."""
    flat = values.reshape(values.shape[0] * values.shape[1], -1)
    # an odd step, so that neither columns nor colours are left out
    return flat[:: int(len(flat) * max(1.0, parts) / SAMPLE) | 1]


def sigma_of(values: LightArray) -> npt.NDArray[np.float64]:
    """Return the robust standard deviation about zero along the first axis."""
    return np.asarray(SIGMA_PER_MAD * np.median(np.abs(values), axis=0), np.float64)


class NoiseByLevel:
    """The noise of one frame by the level about a place: light brings its own noise.

    Parameters
    ----------
    excess, level : float32 (n,), how far values lie from the median about them, and that median.
    """

    def __init__(self, excess: LightArray, level: LightArray, least: float) -> None:
        order = np.argsort(level, kind="stable")
        groups = np.array_split(order, min(LEVELS, max(1, len(order) // 200)))
        self.levels = np.array([np.median(level[group]) for group in groups])
        self.sigmas = np.maximum([sigma_of(excess[group]) for group in groups], least)

    def at(self, level: LightArray) -> npt.NDArray[np.float64]:
        """Return the standard deviation at levels, float64 of their shape."""
        return np.asarray(np.interp(level, self.levels, self.sigmas))
