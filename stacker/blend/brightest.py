"""Max: the whole pixel of the frame in which it was brightest, so that no colours mix."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend, ValidMask
from stacker.blend.intake import Intake
from stacker.light.buffers import zeros
from stacker.light.encoding import CodedLight, LightArray, Picture, PixelArray, look_up
from stacker.light.luminance import luminance

# pixels worked on at a time: their light and luminance stay in the second-level cache
BLOCK_PIXELS = 3 << 15
# below any light, that from which a dark was taken included
NEVER = -np.inf


class BrightestAccumulator(Accumulator):
    """The brightest pixel so far, its luminance, and the index of its frame.

    Of equally bright pixels the earlier frame's stays. Under the promise of
    ``Intake.ordered`` that needs no memory of the index.
    """

    def __init__(self, intake: Intake, rows: int, width: int) -> None:
        super().__init__(intake, rows, width)
        self.plain = intake.plain
        stored = np.dtype(intake.encoding.stored if self.plain else "float32")
        self.pixels: npt.NDArray[Any] = zeros(self.shape, stored)
        self.luminance = zeros((rows, width), np.float32)
        self.luminance.fill(NEVER)
        self.index = None if intake.ordered else zeros((rows, width), np.int32)

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        weight = self.intake.weights[index]
        if weight == 0:
            return
        table = None
        if not self.intake.encoding.is_light:
            table = (self.intake.encoding.table() * weight).astype(np.float32)
        weights = self.intake.encoding.space.luminance_weights
        block = max(1, BLOCK_PIXELS // self.shape[1])
        scratch = np.empty((block, *self.shape[1:]), np.float32)
        scratch_luminance = np.empty((block, self.shape[1]), np.float32)
        for top in range(0, self.shape[0], block):
            rows = slice(top, min(top + block, self.shape[0]))
            height = rows.stop - top
            light = self._light(pixels[rows], table, weight, scratch[:height])
            brightness = luminance(light, weights, out=scratch_luminance[:height])
            if valid is not None:
                brightness[~valid[rows]] = NEVER
            kept = pixels[rows] if self.plain else light
            self._take(rows, kept, brightness, index)

    def _light(
        self, pixels: PixelArray, table: LightArray | None, weight: float, scratch: LightArray
    ) -> LightArray:
        """Return weighted light, float32 (h, W, 3), in the scratch."""
        if table is not None:
            return look_up(pixels, table, out=scratch)
        return np.multiply(pixels, np.float32(weight), out=scratch)

    def _take(
        self,
        rows: slice,
        pixels: npt.NDArray[Any],
        brightness: LightArray,
        index: int | npt.NDArray[np.int32],
    ) -> None:
        """Put pixels where they are brighter than what is there, or as bright and earlier."""
        best = self.luminance[rows]
        wins = cv2.compare(brightness, best, cv2.CMP_GT)
        if self.index is not None:
            earlier = (brightness == best) & (index < self.index[rows]) & (brightness > NEVER)
            wins[earlier] = 255
            np.copyto(self.index[rows], index, where=wins > 0)
        cv2.copyTo(pixels, wins, self.pixels[rows])
        cv2.max(best, brightness, best)

    def merge(self, other: Self) -> None:
        """Take in what another accumulator has gathered."""
        rows = slice(0, self.shape[0])
        self._take(rows, other.pixels, other.luminance, 0 if other.index is None else other.index)

    def result(self) -> Picture:
        """Return each pixel as it was in the frame where it was brightest."""
        if self.pixels.dtype == np.float32:
            return self.pixels.copy()
        return CodedLight(self.pixels.copy(), self.intake.encoding.table())


@dataclass(frozen=True)
class Max(Blend):
    """The whole pixel of the frame with the greatest luminance."""

    name: ClassVar[str] = "max"
    summary: ClassVar[str] = "whole pixel of the brightest frame: trails that keep their colour"

    def start(self, intake: Intake, rows: int, width: int) -> BrightestAccumulator:
        """Return an empty accumulator for a piece of the picture."""
        return BrightestAccumulator(intake, rows, width)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        stored = np.dtype(intake.encoding.stored if intake.plain else "float32")
        return width * (3 * stored.itemsize + 4 + (0 if intake.ordered else 4))
