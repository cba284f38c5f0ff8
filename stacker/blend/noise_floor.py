"""A lighten whose noise floor is that of the mean.

The greatest of many noisy values is too bright wherever nothing shone. The mean is kept as well,
and takes over there: see ``clearance``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, ValidMask
from stacker.blend.clearance import clearance
from stacker.blend.extremes import ExtremeAccumulator
from stacker.blend.intake import Intake
from stacker.blend.light_sum import LightSum
from stacker.blend.normal_maximum import maximum_of_normals
from stacker.light.buffers import zeros
from stacker.light.encoding import LightArray, PixelArray

# what finding out where to keep the greatest value takes besides
FINDING_PIXEL_BYTES = 2
# rows finished at a time
BLOCK_ROWS = 16


class FloorAccumulator(Accumulator):
    """The greatest value of each channel, and the mean."""

    def __init__(
        self, intake: Intake, rows: int, width: int, *, fading: tuple[float, ...] | None
    ) -> None:
        super().__init__(intake, rows, width)
        self.greatest = ExtremeAccumulator(intake, rows, width, greatest=True, fading=fading)
        self.mean = LightSum(intake, rows, width, average=True)
        self.frames = 0

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        if self.intake.weights[index] == 0:
            return
        self.greatest.add(pixels, index=index, valid=valid)
        self.mean.add(pixels, index=index, valid=valid)
        self.frames += 1

    def merge(self, other: Self) -> None:
        """Take in what another accumulator has gathered."""
        self.greatest.merge(other.greatest)
        self.mean.merge(other.mean)
        self.frames += other.frames

    def light(self, rows: slice) -> tuple[LightArray, LightArray]:
        """Return the mean and the greatest light of some rows, float32 (h, W, 3)."""
        return self.mean.light(rows), self.greatest.light(rows)

    def result(self) -> LightArray:
        """Return the light of this piece by itself."""
        (finished,) = settle([self])
        return finished.result()


@dataclass(frozen=True, eq=False)
class SettledPiece:
    """A piece of the picture with how much of its greatest light to keep, uint8 (rows, W)."""

    accumulator: FloorAccumulator
    kept: npt.NDArray[np.uint8]

    def result(self) -> LightArray:
        """Return the light, float32 (rows, W, 3)."""
        light = zeros(self.accumulator.shape, np.float32)
        for top in range(0, len(light), BLOCK_ROWS):
            rows = slice(top, top + BLOCK_ROWS)
            mean, greatest = self.accumulator.light(rows)
            # where all is kept this is the greatest value itself, to the last bit
            mean -= greatest
            mean *= (255 - self.kept[rows, :, np.newaxis]) * np.float32(1 / 255)
            np.add(mean, greatest, out=light[rows])
        return light


def settle(pieces: Sequence[FloorAccumulator]) -> list[SettledPiece]:
    """Return the pieces of a whole picture, from top to bottom, ready to be finished.

    What noise looks like is learnt from all of them, and where one ends the next goes on.
    """
    edges = np.cumsum([0, *(piece.shape[0] for piece in pieces)])
    height, width = int(edges[-1]), pieces[0].shape[1]

    def read(rows: range) -> tuple[LightArray, LightArray]:
        parts = []
        for piece, top in zip(pieces, edges[:-1].tolist(), strict=True):
            inside = slice(max(rows.start - top, 0), min(rows.stop - top, piece.shape[0]))
            if inside.start < inside.stop:
                parts.append(piece.light(inside))
        if len(parts) == 1:
            return parts[0]
        return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])

    frames = pieces[0].frames
    if frames < 2:
        kept = np.full((height, width), 255, np.uint8)
    else:
        kept = clearance(read, (width, height), maximum_of_normals(frames))
    return [
        SettledPiece(piece, kept[top : top + piece.shape[0]])
        for piece, top in zip(pieces, edges[:-1].tolist(), strict=True)
    ]
