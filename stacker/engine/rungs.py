"""Accumulators that hand out the exposure as it was after some of the frames.

Frames reach an accumulator in their order, so what it holds after the eighth is the exposure of
eight frames: all rungs of a ladder come from one accumulator. The median forgets what cannot
become the middle of all frames, so each of its rungs has an accumulator of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from stacker.blend import Accumulator, Blend, Intake, ValidMask
from stacker.light.encoding import Encoding, LightArray, Picture, PixelArray
from stacker.light.luminance import luminance
from stacker.light.reduce import reduce_light

Take = Callable[[int, Picture], None]


class RungTaker(Accumulator):
    """Takes frames as accumulators do, and hands each rung to ``take`` when it is complete.

    ``take`` is called with the number of the rung and the piece of its picture.
    """

    def __init__(self, rungs: Rungs, intake: Intake, rows: int, width: int) -> None:
        super().__init__(intake, rows, width)
        self.ends = rungs.ends
        self.take: Take = _nobody
        self.growing = [rungs.blend.start(each, rows, width) for each in rungs.intakes(intake)]

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame, later than all before."""
        for accumulator in self.growing:
            accumulator.add(pixels, index=index, valid=valid)
        if index in self.ends:
            self.take(self.ends.index(index), self.growing[0].result())
            if len(self.growing) > 1:
                del self.growing[0]

    def merge(self, other: Self) -> None:
        """Rungs are handed out while frames come in: there is nothing to merge."""
        raise TypeError("a ladder's accumulators do not merge")

    def result(self) -> Picture:
        """Return the exposure of the frames so far."""
        return self.growing[-1].result()


def _nobody(_number: int, _piece: Picture) -> None:
    """Take a piece for nobody."""


@dataclass(frozen=True)
class Rungs(Blend):
    """A blend that hands out what it is after some of the frames; for one pass, in their order.

    Parameters
    ----------
    blend : how the frames add up.
    ends : the index of the last frame of each rung, rising.
    """

    name: ClassVar[str] = "rungs"
    summary: ClassVar[str] = "one blend at several numbers of frames"

    blend: Blend
    ends: tuple[int, ...]

    def intakes(self, intake: Intake) -> list[Intake]:
        """Return what each of the accumulators that it takes may expect."""
        if self.blend.running:
            return [intake]
        return [up_to(intake, end) for end in self.ends]

    def start(self, intake: Intake, rows: int, width: int) -> RungTaker:
        """Return what takes the frames for a piece of the picture."""
        return RungTaker(self, intake, rows, width)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that it takes per row, in bytes."""
        return sum(self.blend.row_bytes(each, width) for each in self.intakes(intake))

    def brightest_frame(self, intake: Intake) -> float:
        """Return the light above which a frame cannot be blended."""
        return self.blend.brightest_frame(intake)


def up_to(intake: Intake, end: int) -> Intake:
    """Return the intake of the frames up to the one of index ``end``."""
    weights = tuple(w if index <= end else 0.0 for index, w in enumerate(intake.weights))
    return replace(intake, weights=weights)


class Copies:
    """Small luminance copies of whole pictures, filled in piece by piece.

    Cells of ``factor`` x ``factor`` pixels count from the picture's first row and column; those
    that a piece holds in part are left out.
    """

    def __init__(self, size: tuple[int, int], factor: int, count: int) -> None:
        self.factor = factor
        shape = (size[1] // factor, size[0] // factor)
        self.pictures = [np.zeros(shape, np.float32) for _ in range(count)]
        self.valid = np.ones(shape, np.bool_)

    def put(
        self, number: int, pixels: PixelArray, encoding: Encoding, top: int, scale: float = 1.0
    ) -> None:
        """Reduce some rows, the first of which is ``top``, into the copy of that number."""
        first, skip = self._first(top)
        light = reduce_light(pixels[skip:], encoding, self.factor)
        weights = encoding.space.luminance_weights
        grey = luminance(light, weights)
        self.pictures[number][first : first + len(grey)] = grey * np.float32(scale)

    def mask(self, valid: ValidMask, top: int) -> None:
        """Count cells out where some pixel of these rows is not valid."""
        first, skip = self._first(top)
        inside = valid[skip:]
        rows, columns = inside.shape[0] // self.factor, self.valid.shape[1]
        cells = inside[: rows * self.factor, : columns * self.factor]
        whole = cells.reshape(rows, self.factor, columns, self.factor).all(axis=(1, 3))
        self.valid[first : first + rows] &= np.asarray(whole, np.bool_)

    def _first(self, top: int) -> tuple[int, int]:
        """Return the first whole cell from a row on, and the rows before it."""
        first = -(-top // self.factor)
        return first, first * self.factor - top


class FrameSampler(Accumulator):
    """Keeps copies of some of the frames."""

    def __init__(
        self, intake: Intake, rows: range, width: int, *, copies: Copies, sampled: Sequence[int]
    ) -> None:
        super().__init__(intake, len(rows), width)
        self.top = rows.start
        self.copies = copies
        self.sampled = list(sampled)

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Look at one frame."""
        if index not in self.sampled:
            return
        self.copies.put(self.sampled.index(index), pixels, self.intake.encoding, self.top)
        if valid is not None:
            self.copies.mask(valid, self.top)

    def merge(self, other: Self) -> None:
        """Copies are shared: there is nothing to merge."""
        raise TypeError("copies are shared already")

    def result(self) -> LightArray:
        """Return nothing of a picture."""
        return np.zeros((0, self.shape[1], 3), np.float32)
