"""Accumulators that need all values of a pixel before they can say anything."""

from __future__ import annotations

from abc import abstractmethod
from typing import Any, Self

import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, ValidMask
from stacker.blend.intake import Intake
from stacker.light.encoding import LightArray, PixelArray

# pixels of all frames that are worked on at a time
BLOCK_BYTES = 1 << 20


class HeldFrames(Accumulator):
    """Every frame's pixels by index; the result is worked out block by block."""

    def __init__(self, intake: Intake, rows: int, width: int) -> None:
        super().__init__(intake, rows, width)
        self.planes: dict[int, npt.NDArray[Any]] = {}
        self.masks: dict[int, ValidMask] = {}

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        if self.intake.weights[index] == 0:
            return
        self.planes[index] = pixels.reshape(-1).copy()
        if valid is not None:
            self.masks[index] = valid.copy()

    def merge(self, other: Self) -> None:
        """Take in what another accumulator has gathered."""
        self.planes.update(other.planes)
        self.masks.update(other.masks)

    def result(self) -> LightArray:
        """Return the blended light, float32 (rows, width, 3)."""
        size = int(np.prod(self.shape))
        light = np.zeros(size, np.float32)
        if not self.planes:
            return light.reshape(self.shape)
        # planes in the order of the frames, whatever order they came in
        indices = sorted(self.planes)
        itemsize = self.planes[indices[0]].itemsize
        # whole pixels, so that a mask can be spread over the channels
        block = 3 * max(1, BLOCK_BYTES // (3 * itemsize * len(indices)))
        for start in range(0, size, block):
            piece = slice(start, min(start + block, size))
            values = np.stack([self.planes[index][piece] for index in indices])
            light[piece] = self._blend(values, self._weights(indices, piece))
        return light.reshape(self.shape)

    def _weights(self, indices: list[int], piece: slice) -> npt.NDArray[np.float64]:
        """Return the weight of each value, float64 (frames, 1) or (frames, values)."""
        weights = np.array([[self.intake.weights[index]] for index in indices])
        if not self.masks:
            return weights
        weights = np.repeat(weights, piece.stop - piece.start, axis=1)
        pixels = slice(piece.start // 3, piece.stop // 3)
        for row, index in enumerate(indices):
            if index in self.masks:
                weights[row] *= np.repeat(self.masks[index].reshape(-1)[pixels], 3)
        return weights

    @abstractmethod
    def _blend(self, values: npt.NDArray[Any], weights: npt.NDArray[np.float64]) -> LightArray:
        """Return the light, float32 (values,), of values (frames, values) and their weights."""


def held_row_bytes(intake: Intake, width: int) -> int:
    """Return the memory per row of all frames with their masks, in bytes."""
    itemsize = np.dtype(intake.encoding.stored).itemsize
    return width * intake.count * (3 * itemsize + (1 if intake.masked else 0))
