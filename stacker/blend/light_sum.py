"""Mean and sum: light added up on a grid so fine that order does not matter.

Sums of rounded floats depend on their order. Light times weight is therefore snapped to a grid
on which every partial sum is exact: whole numbers of 2^-k in int32 where that is fine enough
for 16-bit results, in float64 elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self, cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend, ValidMask
from stacker.blend.intake import Intake
from stacker.errors import FrameError
from stacker.light.buffers import zeros
from stacker.light.encoding import CODE_MAX, Encoding, LightArray, PixelArray

# float64 holds whole numbers up to 2^53: this grid and totals below 2^17
FLOAT_GRID_BITS = 36
FLOAT_TOTAL_LIMIT = 2.0 ** (53 - FLOAT_GRID_BITS)
# pairs of int32 grid and the total weight below which sums stay under 2^31
INT_GRIDS = ((26, 32), (21, 1024))
# how far the grid may move a mean, in 16-bit codes, at the darkest code of an 8-bit file
GRID_ERROR_CODES = 0.25
# rows of a table look-up that is added while still in the cache
BLOCK_ROWS = 8


def grid_of(intake: Intake) -> tuple[type[np.int32] | type[np.float64], int]:
    """Return the dtype of the sum and the bits k of its grid 2^-k."""
    if not intake.encoding.is_light:
        for bits, limit in INT_GRIDS:
            if intake.total_weight < limit and _fine_enough(intake.encoding, bits):
                return np.int32, bits
    return np.float64, FLOAT_GRID_BITS


def _fine_enough(encoding: Encoding, bits: int) -> bool:
    darkest = 1 / 255
    step = 1 / CODE_MAX
    light = encoding.curve.to_light([darkest, darkest + step])
    error_codes = 0.5 * 2.0**-bits / (light[1] - light[0])
    return bool(error_codes <= GRID_ERROR_CODES)


class LightSum(Accumulator):
    """Weighted light and weight, added up; ``average`` tells whether one divides the other."""

    def __init__(self, intake: Intake, rows: int, width: int, *, average: bool) -> None:
        super().__init__(intake, rows, width)
        dtype, self.grid_bits = grid_of(intake)
        self.average = average
        self.total: npt.NDArray[Any] = zeros((rows, width * 3), dtype)
        self.weight = 0.0  # of the frames that were valid everywhere
        self.masked_weight: npt.NDArray[np.float64] | None = None

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        weight = snap(self.intake.weights[index])
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

    def _grains_of_light(
        self, light: LightArray, weight: float, grains: npt.NDArray[np.float64]
    ) -> None:
        limit = FLOAT_TOTAL_LIMIT / max(self.intake.total_weight, 1.0)
        brightest = float(light.max(initial=0.0))
        if not brightest < limit:
            raise FrameError(
                "a frame of floating-point light",
                f"holds values up to {brightest:.4g} where white is 1.0",
                remedy="scale the files so that white is 1.0",
                code="frame-bad-values",
            )
        np.multiply(light, weight * 2.0**self.grid_bits, out=grains)
        np.rint(grains, out=grains)

    def _add_weight(self, weight: float, valid: ValidMask | None) -> None:
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
        if other.masked_weight is not None:
            if self.masked_weight is None:
                self.masked_weight = np.zeros(self.shape[:2])
            self.masked_weight += other.masked_weight

    def result(self) -> LightArray:
        """Return the mean or the sum, float32 (rows, width, 3)."""
        light = zeros(self.shape, np.float32)
        total = self.total.reshape(self.shape)
        if total.dtype == np.int32 and self.masked_weight is None:
            # float32 throughout: half a unit in the last place more, a third of the time
            np.copyto(light, total, casting="same_kind")
            light *= np.float32(self._light_of_grain())
        else:
            np.multiply(total, self._light_of_grain(), out=light, casting="same_kind")
        return light

    def _light_of_grain(self) -> Any:
        """Return the light that one grain of the total stands for: a number, or (rows, W, 1)."""
        grain = 2.0**-self.grid_bits
        if not self.average:
            return grain
        if self.masked_weight is None:
            return grain / self.weight if self.weight else 0.0
        weight = self.masked_weight + self.weight
        scale = np.divide(grain, weight, out=np.zeros_like(weight), where=weight > 0)
        return scale[:, :, np.newaxis]


def snap(weight: float) -> float:
    """Return a weight on the grid on which sums of weights are exact."""
    return round(weight * 2**20) / 2**20


def _row_bytes(intake: Intake, width: int) -> int:
    return width * 3 * np.dtype(grid_of(intake)[0]).itemsize


@dataclass(frozen=True)
class Mean(Blend):
    """The weighted mean of linear light."""

    name: ClassVar[str] = "mean"
    summary: ClassVar[str] = "average of the light: silky water, soft clouds, less noise"

    def start(self, intake: Intake, rows: int, width: int) -> LightSum:
        """Return an empty accumulator for a piece of the picture."""
        return LightSum(intake, rows, width, average=True)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        return _row_bytes(intake, width)


@dataclass(frozen=True)
class Sum(Blend):
    """All the light added up, free of the ceiling at 1.0."""

    name: ClassVar[str] = "sum"
    summary: ClassVar[str] = "all the light added up, as one exposure without a filter"

    def start(self, intake: Intake, rows: int, width: int) -> LightSum:
        """Return an empty accumulator for a piece of the picture."""
        return LightSum(intake, rows, width, average=False)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        return _row_bytes(intake, width)

    def brightest(self, intake: Intake) -> float:
        """Return the greatest light that frames within [0, 1] can add up to."""
        return max(1.0, intake.total_weight)
