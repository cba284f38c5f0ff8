"""How light falls off to the sides of a trail, in each part of the picture.

The profile is learnt from the bright stars of a few frames: pixels lie at all distances from the
middle of trails, so together they tell it finer than a pixel, and as pixels collect it.

Source: the effective point spread function of J. Anderson and I. R. King, PASP 112 (2000),
doi:10.1086/316632, here across a trail.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from stacker.bridge.sky.ways import Float32Array
from stacker.register.sky.points import Float64Array
from stacker.register.sky.stars import IntArray

# nodes of a profile's table, px
NODE_PX = 0.25
# parts along the longer and the shorter side of the picture: lenses draw corners softer
PARTS = 3
# reach of a profile in standard deviations of its core
REACH = 5.0
# a part of the picture with fewer stars than this takes the profile of all
LEAST_STARS = 5
_NODES = np.linspace(-8, 8, 1601)
_NORMAL = np.array([0.5 * (1 + math.erf(z / math.sqrt(2))) for z in _NODES])


def normal_share(z: Float64Array | Float32Array) -> Float64Array:
    """Return the normal distribution function."""
    return np.asarray(np.interp(z, _NODES, _NORMAL))


def passing(along: Float32Array, way_px: Float64Array, sigma_px: float) -> Float32Array:
    """Return how bright a trail is along its way, 1 in its middle.

    Parameters
    ----------
    along : (Q,) px from where the star was when the shutter opened.
    way_px : (Q,) length of the way.
    sigma_px : standard deviation of a point of light.
    """
    way = np.maximum(way_px, 1e-3)
    middle = 2 * normal_share(way / (2 * sigma_px)) - 1
    open_, shut = normal_share(along / sigma_px), normal_share((along - way) / sigma_px)
    return ((open_ - shut) / middle).astype(np.float32)


@dataclass(frozen=True, eq=False)
class Profiles:
    """Profiles (Z, K) of the parts of a picture of ``shape``, 1 in the middle at most.

    ``sigma_px`` is the standard deviation of their core, ``reach_px`` where they end.
    """

    table: Float32Array
    shape: tuple[int, int]
    sigma_px: float

    @property
    def reach_px(self) -> float:
        """How far a profile goes to each side."""
        return NODE_PX * float(self.table.shape[1] - 1) / 2

    def part(self, place: Float64Array) -> IntArray:
        """Return the parts in which places (N, 2) lie."""
        height, width = self.shape
        column = np.clip(place[:, 0] / width * PARTS, 0, PARTS - 1).astype(np.intp)
        row = np.clip(place[:, 1] / height * PARTS, 0, PARTS - 1).astype(np.intp)
        return np.asarray(row * PARTS + column)

    def at(self, part: IntArray, across: Float32Array) -> Float32Array:
        """Return the profiles of parts (Q,) at distances (Q,)."""
        nodes = self.table.shape[1]
        at = np.clip((across + self.reach_px) / NODE_PX, 0, nodes - 1.001)
        low = at.astype(np.intp)
        share = (at - low).astype(np.float32)
        flat = self.table.ravel()
        number = part * nodes + low
        return np.asarray(flat[number] * (1 - share) + flat[number + 1] * share)

    @classmethod
    def gaussian(cls, shape: tuple[int, int], sigma_px: float) -> Profiles:
        """Return the profiles to begin with."""
        half = math.ceil(max(REACH * sigma_px, 4.0) / NODE_PX)
        at = np.arange(-half, half + 1) * NODE_PX
        row = np.exp(-0.5 * (at / sigma_px) ** 2).astype(np.float32)
        return cls(np.tile(row, (PARTS**2, 1)), shape, sigma_px)


class Lessons:
    """Samples of trails that tell what profiles look like, added up."""

    def __init__(self, before: Profiles) -> None:
        self._before = before
        self._total = np.zeros(before.table.shape)
        self._light = np.zeros(before.table.shape)
        self._stars = np.zeros(len(before.table))

    def add(
        self, part: IntArray, across: Float32Array, height: Float64Array, weight: Float64Array
    ) -> None:
        """Take in samples (Q,): in which part, how far from the middle of the trail, their light
        as a share of that in the middle, and how much they count."""
        parts, nodes = self._before.table.shape
        at = np.rint((across + self._before.reach_px) / NODE_PX)
        number = part * nodes + np.clip(at, 0, nodes - 1).astype(np.intp)
        self._total += np.bincount(number, weight, parts * nodes).reshape(parts, nodes)
        self._light += np.bincount(number, weight * height, parts * nodes).reshape(parts, nodes)

    def count(self, part: IntArray) -> None:
        """Take in that so many stars lie in these parts."""
        self._stars += np.bincount(part, minlength=len(self._stars))

    def profiles(self) -> Profiles:
        """Return what was learnt; what was known before, where nothing was."""
        if self._stars.sum() < LEAST_STARS:
            return self._before
        total, light = self._total.copy(), self._light.copy()
        poor = self._stars < LEAST_STARS
        total[poor], light[poor] = total.sum(axis=0), light.sum(axis=0)
        table = np.stack([_row(*each) for each in zip(total, light, strict=True)])
        return Profiles(table, self._before.shape, _core_sigma(table))


def _row(total: Float64Array, light: Float64Array) -> Float32Array:
    """Return a profile (K,) from the weights and weighted heights at its nodes."""
    known = total > 1e-3 * total.max()
    at = np.arange(len(total))
    row = np.interp(at, at[known], light[known] / total[known])
    row = np.convolve(np.pad(row, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
    # it ends at nothing, or a bright star's trail would have a rim
    row = np.maximum(row - (row[0] + row[-1]) / 2, 0)
    return np.asarray(row / row.max(), np.float32)


def _core_sigma(table: Float32Array) -> float:
    """Return the standard deviation of a normal core as wide at half its height."""
    wide = (table > 0.5).sum(axis=1) * NODE_PX
    return float(np.median(wide)) / 2.3548
