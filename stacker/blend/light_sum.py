"""Mean and sum: light added up on a grid so fine that order does not matter.

Sums of rounded floats depend on their order. Light times weight is therefore snapped to a grid
on which every partial sum is exact: whole numbers of 2^-k in int32 where that is fine enough
for the darkest code of the files, in float64 elsewhere. Light that was resampled from codes knows
a ceiling as they do, and goes the same way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar, Self, cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend, ValidMask
from stacker.blend.intake import Intake
from stacker.light.buffers import zeros
from stacker.light.encoding import CODE_MAX, Encoding, LightArray, PixelArray

# pairs of grid and the total weight below which sums of codes' light stay exact: below 2^31 in
# int32, below 2^53 in float64
INT_GRIDS = ((26, 32), (21, 1024))
FLOAT_GRIDS = ((42, 2048), (30, math.inf))
# for light, which knows no ceiling: room for 2^23 times white
LIGHT_GRID_BITS = 30
LIGHT_TOTAL_LIMIT = 2.0 ** (53 - LIGHT_GRID_BITS)
# how far the grid may move a result, in 16-bit codes, at the darkest code of the files
GRID_ERROR_CODES = 0.25
# rows of a table look-up that is added while still in the cache
BLOCK_ROWS = 8


def grid_of(intake: Intake, *, average: bool) -> tuple[type[np.int32] | type[np.float64], int]:
    """Return the dtype of the sum and the bits k of its grid 2^-k."""
    codes = intake.codes if intake.encoding.is_light else intake.encoding
    if codes is None or codes.is_light:
        return np.float64, LIGHT_GRID_BITS
    # each frame errs by half a grain at the most; a mean divides the errors by their number
    errors = 1.0 if average else max(1.0, intake.total_weight)
    greatest = intake.total_weight * intake.brightest
    for bits, limit in INT_GRIDS:
        if greatest < limit and _fine_enough(codes, bits, errors):
            return np.int32, bits
    if intake.encoding.is_light:
        return np.float64, LIGHT_GRID_BITS
    bits = next(bits for bits, limit in FLOAT_GRIDS if intake.total_weight < limit)
    return np.float64, bits


def _fine_enough(encoding: Encoding, bits: int, errors: float) -> bool:
    """Whether half a grain, so many times, is little at the darkest code.

    Held against the light of that code too: a file in floating point shows what codes hide.
    """
    darkest = float(encoding.curve.to_light(1 / encoding.top))
    leaving = encoding.space.curve
    step = float(leaving.to_light(leaving.from_light(darkest) + 1 / CODE_MAX)) - darkest
    error = 0.5 * 2.0**-bits * errors
    return error <= GRID_ERROR_CODES * step and error <= darkest / 100


class LightSum(Accumulator):
    """Weighted light and weight, added up; ``average`` tells whether one divides the other."""

    def __init__(self, intake: Intake, rows: int, width: int, *, average: bool) -> None:
        super().__init__(intake, rows, width)
        dtype, self.grid_bits = grid_of(intake, average=average)
        self.average = average
        self.total: npt.NDArray[Any] = zeros((rows, width * 3), dtype)
        self.weight = 0.0  # of the frames that were valid everywhere
        self.weight_of_all = 0.0
        self.masked_weight: npt.NDArray[np.float64] | None = None

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        self._put(pixels, snap(self.intake.weights[index]), valid)

    def take_back(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take a frame out again that was added just so; exact, as if it had never been there."""
        self._put(pixels, -snap(self.intake.weights[index]), valid)

    def _put(self, pixels: PixelArray, weight: float, valid: ValidMask | None) -> None:
        if weight == 0:
            return
        rows, width, _ = self.shape
        flat = pixels.reshape(rows, width * 3)
        spread = None if valid is None else np.repeat(valid, 3, axis=1)
        table = self._table(weight)
        block = np.empty((min(BLOCK_ROWS, rows), width * 3), self.total.dtype)
        for top in range(0, rows, BLOCK_ROWS):
            bottom = min(top + BLOCK_ROWS, rows)
            grains = block[: bottom - top]
            if table is None:
                self._grains_of_light(flat[top:bottom], weight, grains)
            else:
                cv2.LUT(flat[top:bottom], cast(Any, table), grains)
            target = self.total[top:bottom]
            if spread is None:
                np.add(target, grains, out=target)
            else:
                np.add(target, grains, out=target, where=spread[top:bottom])
        self._add_weight(weight, valid)

    def _table(self, weight: float) -> npt.NDArray[Any] | None:
        """Return weighted light in grains of the grid for each code; None for light."""
        if self.intake.encoding.is_light:
            return None
        grains = np.rint(self.intake.encoding.table() * (weight * 2.0**self.grid_bits))
        return grains.astype(self.total.dtype)

    def _grains_of_light(self, light: LightArray, weight: float, grains: npt.NDArray[Any]) -> None:
        scale = weight * 2.0**self.grid_bits
        if grains.dtype == np.float64:
            np.multiply(light, scale, out=grains)
            np.rint(grains, out=grains)
            return
        scaled = np.multiply(light, np.float32(scale), dtype=np.float32)
        np.copyto(grains, np.rint(scaled, out=scaled), casting="unsafe")

    def _add_weight(self, weight: float, valid: ValidMask | None) -> None:
        self.weight_of_all += weight
        if valid is None:
            self.weight += weight
            return
        if self.masked_weight is None:
            self.masked_weight = np.zeros(self.shape[:2])
        np.add(self.masked_weight, weight, out=self.masked_weight, where=valid)

    def merge(self, other: Self) -> None:
        """Take in what another accumulator has gathered."""
        self.total += other.total
        self.weight += other.weight
        self.weight_of_all += other.weight_of_all
        if other.masked_weight is not None:
            if self.masked_weight is None:
                self.masked_weight = np.zeros(self.shape[:2])
            self.masked_weight += other.masked_weight

    def result(self) -> LightArray:
        """Return the mean or the sum, float32 (rows, width, 3)."""
        return self.light(slice(None), out=zeros(self.shape, np.float32))

    def light(self, rows: slice, *, out: LightArray | None = None) -> LightArray:
        """Return the mean or the sum of some rows, float32 (h, width, 3), in ``out`` if given."""
        total = self.total.reshape(self.shape)[rows]
        light = np.empty(total.shape, np.float32) if out is None else out
        grain = self._light_of_grain(rows)
        if total.dtype == np.int32 and self.masked_weight is None:
            # float32 throughout: half a unit in the last place more, a third of the time
            np.copyto(light, total, casting="same_kind")
            light *= np.float32(grain)
        else:
            np.multiply(total, grain, out=light, casting="same_kind")
        return light

    def _light_of_grain(self, rows: slice) -> Any:
        """Return the light that one grain of the total stands for: a number, or (h, W, 1)."""
        grain = 2.0**-self.grid_bits
        if self.masked_weight is None:
            if not self.average:
                return grain
            return grain / self.weight if self.weight else 0.0
        if not self.average:
            # where fewer frames reach, a sum is what all would have given: borders do not darken
            grain *= self.weight_of_all
        weight = self.masked_weight[rows] + self.weight
        scale = np.divide(grain, weight, out=np.zeros_like(weight), where=weight > 0)
        return scale[:, :, np.newaxis]


def snap(weight: float) -> float:
    """Return a weight on the grid on which sums of weights are exact."""
    return round(weight * 2**20) / 2**20


@dataclass(frozen=True)
class _AddedLight(Blend):
    """What mean and sum have in common."""

    average: ClassVar[bool]

    def start(self, intake: Intake, rows: int, width: int) -> LightSum:
        """Return an empty accumulator for a piece of the picture."""
        return LightSum(intake, rows, width, average=self.average)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        dtype, _ = grid_of(intake, average=self.average)
        return width * 3 * np.dtype(dtype).itemsize

    def brightest_frame(self, intake: Intake) -> float:
        """Return the light in a frame beyond which sums would not be exact."""
        if not intake.encoding.is_light:
            return math.inf
        return LIGHT_TOTAL_LIMIT / max(intake.total_weight, 1.0)

    def depends_on(self, intake: Intake) -> object:
        """Return what of the intake the result depends on besides the frames: the grid."""
        return grid_of(intake, average=self.average)


@dataclass(frozen=True)
class Mean(_AddedLight):
    """The weighted mean of linear light."""

    name: ClassVar[str] = "mean"
    summary: ClassVar[str] = "average of the light: silky water, soft clouds, less noise"
    average: ClassVar[bool] = True


@dataclass(frozen=True)
class Sum(_AddedLight):
    """All the light added up, free of the ceiling at 1.0."""

    name: ClassVar[str] = "sum"
    summary: ClassVar[str] = "all the light added up, as one exposure without a filter"
    average: ClassVar[bool] = False

    def brightest(self, intake: Intake) -> float:
        """Return the greatest light that frames within [0, 1] can add up to."""
        return max(1.0, intake.total_weight)
