"""Lighten and darken: the greatest and the least value of each channel.

Source: W3C Compositing and Blending Level 1, clauses 10.1.4 (darken) and 10.1.5 (lighten).
Which of two values is greater does not depend on the transfer function, so codes are compared
as they are stored.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend, ValidMask
from stacker.blend.intake import Intake
from stacker.light.buffers import zeros
from stacker.light.encoding import CodedLight, Picture, PixelArray, decode

# keeps both sides of a comparison in the cache
BLOCK_ROWS = 16


class ExtremeAccumulator(Accumulator):
    """The greatest, or the least, value so far.

    With uneven weights the values compared are light times weight, so that a frame of less
    weight leaves fainter streaks; the least value takes every frame of weight above 0 alike.
    """

    def __init__(self, intake: Intake, rows: int, width: int, *, greatest: bool) -> None:
        super().__init__(intake, rows, width)
        self.pick = np.maximum if greatest else np.minimum
        self.dims = greatest and not intake.plain
        stored = np.dtype("float32" if self.dims else intake.encoding.stored)
        self.extreme: npt.NDArray[Any] = zeros(self.shape, stored)
        if stored.kind == "f":
            # light from which a dark was taken may lie below 0
            self.extreme.fill(-np.inf if greatest else np.inf)
        elif not greatest:
            self.extreme.fill(np.iinfo(stored).max)
        self.everywhere = False  # whether some frame was valid everywhere
        self.covered: ValidMask | None = None

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        weight = self.intake.weights[index]
        if weight == 0:
            return
        values = pixels
        if self.dims:
            values = decode(pixels, self.intake.encoding) * np.float32(weight)
        self._compare(values, valid)
        self._cover(valid)

    def _compare(self, values: npt.NDArray[Any], valid: ValidMask | None) -> None:
        for top in range(0, self.shape[0], BLOCK_ROWS):
            rows = slice(top, top + BLOCK_ROWS)
            target = self.extreme[rows]
            if valid is None:
                self.pick(target, values[rows], out=target)
            else:
                self.pick(target, values[rows], out=target, where=valid[rows, :, np.newaxis])

    def _cover(self, valid: ValidMask | None) -> None:
        if valid is None:
            self.everywhere = True
        elif self.covered is None:
            self.covered = valid.copy()
        else:
            self.covered |= valid

    def merge(self, other: Self) -> None:
        """Take in what another accumulator has gathered."""
        self._compare(other.extreme, None)
        self.everywhere |= other.everywhere
        if other.covered is not None:
            self._cover(other.covered)

    def result(self) -> Picture:
        """Return the extreme of each channel."""
        picture = self.extreme.copy()
        if not self.everywhere:
            bare = np.ones(self.shape[:2], bool) if self.covered is None else ~self.covered
            picture[bare] = 0
        if picture.dtype == np.float32:
            return picture
        return CodedLight(picture, self.intake.encoding.table())


@dataclass(frozen=True)
class Lighten(Blend):
    """The greatest light of each channel."""

    name: ClassVar[str] = "lighten"
    summary: ClassVar[str] = "brightest value of each channel: light trails, star trails"

    def start(self, intake: Intake, rows: int, width: int) -> ExtremeAccumulator:
        """Return an empty accumulator for a piece of the picture."""
        return ExtremeAccumulator(intake, rows, width, greatest=True)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        dtype = np.dtype(intake.encoding.stored if intake.plain else "float32")
        return width * 3 * dtype.itemsize


@dataclass(frozen=True)
class Darken(Blend):
    """The least light of each channel."""

    name: ClassVar[str] = "darken"
    summary: ClassVar[str] = "darkest value of each channel: lights that move vanish"

    def start(self, intake: Intake, rows: int, width: int) -> ExtremeAccumulator:
        """Return an empty accumulator for a piece of the picture."""
        return ExtremeAccumulator(intake, rows, width, greatest=False)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        return width * 3 * np.dtype(intake.encoding.stored).itemsize
