"""From planes of Y'CbCr codes to RGB codes, rounded, by exact matrices.

Sources: ITU-T H.273 (07/2021), clause 8.3, equations for full and limited range;
Recommendation ITU-R BT.2100-2, table 9, for the codes at each depth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

import cv2
import numpy as np

from stacker.light.curves import Float64Array
from stacker.light.encoding import CODE_MAX, CodeArray
from stacker.light.h273 import RGB_MATRIX, rgb_of_ycbcr

# samples of a plane worked on at a time: with their temporaries they stay in the cache
BLOCK_SAMPLES = 1 << 17
# OpenCV works on 8-bit codes with factors of so many bits behind the point
FACTOR_STEPS = 1 << 10


@dataclass(frozen=True)
class YcbcrCodes:
    """What the codes in three planes mean.

    Parameters
    ----------
    matrix : the number of the matrix, as ``rgb_of_ycbcr`` takes it.
    bits : of a code, 8 to 16.
    full_range : whether black is 0 and white the greatest code; else they are 16 and 235, and the
        chroma goes from 16 to 240, times 2^(bits - 8).
    """

    matrix: int
    bits: int
    full_range: bool

    def to_rgb(self) -> Float64Array:
        """Return the matrix (3, 4) from codes to RGB codes of 8 or of 16 bits.

        For 8 bits its factors are the nearest that OpenCV computes with, chosen so that grays come
        out gray and the error is none in the middle: a sixth of a code at the most elsewhere.
        """
        zeros, spans = self._ranges()
        top = 255.0 if self.bits == 8 else float(CODE_MAX)
        factors = rgb_of_ycbcr(self.matrix) / spans * top
        if self.bits > 8:
            return np.column_stack((factors, -factors @ zeros))
        gray = (0.5, 0.5, 0.5) if self.matrix == RGB_MATRIX else (0.5, 0.0, 0.0)
        middle = zeros + spans * gray
        rounded = np.rint(factors * FACTOR_STEPS) / FACTOR_STEPS
        return np.column_stack((rounded, factors @ (middle - zeros) - rounded @ middle))

    def _ranges(self) -> tuple[Float64Array, Float64Array]:
        """Return the code of 0 and the codes from there to 1, of each of the three channels."""
        unit, greatest = 1 << (self.bits - 8), (1 << self.bits) - 1
        light = (0, greatest) if self.full_range else (16 * unit, 219 * unit)
        chroma = (128 * unit, greatest if self.full_range else 224 * unit)
        channels = [light] * 3 if self.matrix == RGB_MATRIX else [light, chroma, chroma]
        zeros, spans = np.array(channels, np.float64).T
        return zeros, spans


class PlanesToRgb:
    """Turns planes into RGB codes, keeping what it needs for its work; for one thread."""

    def __init__(self) -> None:
        self._wide: list[CodeArray] = []
        self._mixed: CodeArray = np.empty((0, 0, 3), np.uint8)

    def __call__(self, planes: Sequence[CodeArray], to_rgb: Float64Array, out: CodeArray) -> None:
        """Write the RGB codes of three planes into ``out``, clipped to its range.

        Parameters
        ----------
        planes : the first (H, W); the others of the same size or smaller by whole factors in
            either direction, rounded up, each sample standing for a block of pixels. All uint8, or
            uint16 with any number of bits in use.
        to_rgb : (3, 4), as ``YcbcrCodes.to_rgb`` returns it.
        out : (H, W, 3) of the planes' dtype.
        """
        height, width = planes[0].shape
        down = -(-height // planes[1].shape[0])
        across = -(-width // planes[1].shape[1])
        step = max(1, BLOCK_SAMPLES // width)
        self._make_room(step, planes[1].shape[1] * across, width, out.dtype)
        for top in range(0, planes[1].shape[0], step):
            bottom = min(top + step, planes[1].shape[0])
            chroma = [
                self._widened(plane[top:bottom], across, wide)[:, :width]
                for plane, wide in zip(planes[1:], self._wide, strict=True)
            ]
            # rows that share their chroma are taken in turn, so that it need not be repeated
            for turn in range(down):
                rows = slice(top * down + turn, min(bottom * down, height), down)
                luma = planes[0][rows]
                count = len(luma)
                mixed = self._mixed[:count]
                cv2.merge([luma, chroma[0][:count], chroma[1][:count]], dst=cast(Any, mixed))
                cv2.transform(mixed, to_rgb, dst=out[rows])

    def _make_room(self, rows: int, padded: int, width: int, dtype: np.dtype[Any]) -> None:
        if self._mixed.shape != (rows, width, 3) or self._mixed.dtype != dtype:
            self._mixed = np.empty((rows, width, 3), dtype)
            self._wide = [np.empty((rows, padded), dtype) for _ in range(2)]

    @staticmethod
    def _widened(plane: CodeArray, across: int, wide: CodeArray) -> CodeArray:
        """Return a plane with each sample repeated ``across`` times in its row."""
        if across == 1:
            return plane
        rows, samples = plane.shape
        target = wide[:rows].reshape(rows, samples, across)
        cv2.merge([plane] * across, dst=cast(Any, target))
        return wide[:rows]
