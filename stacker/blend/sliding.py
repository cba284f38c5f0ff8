"""A blend over a window that slides along the frames: the newest comes in, the oldest leaves.

Adding a frame and dropping one cost the same however long the window is.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import deque

import numpy as np

from stacker.blend.base import Accumulator, Blend, ValidMask
from stacker.blend.intake import Intake
from stacker.blend.light_sum import LightSum, Mean, Sum
from stacker.light.encoding import Picture, PixelArray

# what waits in a window: pixels, index, mask
_Held = tuple[PixelArray, int, ValidMask | None]


class Window(ABC):
    """The frames between two ends, and what they blend to."""

    @abstractmethod
    def push(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in the next frame.

        Parameters
        ----------
        pixels : (rows, width, 3) in the intake's encoding; kept, so not to be changed any more.
        index, valid : as for ``Accumulator.add``.
        """

    @abstractmethod
    def drop(self) -> int:
        """Let the oldest frame go; return its index."""

    @abstractmethod
    def result(self) -> Picture:
        """Return the blended picture of the frames in the window."""


class SummedWindow(Window):
    """Mean and sum: what comes in is added, what leaves is taken off.

    On the grid of ``light_sum`` both are exact, so nothing of a frame is left behind.
    """

    def __init__(self, blend: Blend, intake: Intake, rows: int, width: int) -> None:
        total = blend.start(intake, rows, width)
        assert isinstance(total, LightSum)
        self._total = total
        self._held: deque[_Held] = deque()

    def push(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in the next frame."""
        self._total.add(pixels, index=index, valid=valid)
        self._held.append((pixels, index, valid))

    def drop(self) -> int:
        """Let the oldest frame go; return its index."""
        pixels, index, valid = self._held.popleft()
        self._total.take_back(pixels, index=index, valid=valid)
        return index

    def result(self) -> Picture:
        """Return the mean or the sum of the frames in the window."""
        return self._total.result()


class QueuedWindow(Window):
    """Blends from which nothing can be taken off, such as lighten.

    A queue of two stacks: of the newer frames there is one accumulator, and of the older ones an
    accumulator for each, which holds it and all that are newer among them. Where the older ones
    run out, the newer become the older: one merge a frame. A result is one merge of two.
    """

    def __init__(self, blend: Blend, intake: Intake, rows: int, width: int) -> None:
        self._blend, self._intake, self._shape = blend, intake, (rows, width)
        self._newer: list[_Held] = []
        self._of_newer: Accumulator = self._start()
        self._older: list[tuple[Accumulator, int]] = []

    def _start(self) -> Accumulator:
        return self._blend.start(self._intake, *self._shape)

    def push(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in the next frame."""
        self._of_newer.add(pixels, index=index, valid=valid)
        self._newer.append((pixels, index, valid))

    def drop(self) -> int:
        """Let the oldest frame go; return its index."""
        if not self._older:
            self._turn_over()
        return self._older.pop()[1]

    def _turn_over(self) -> None:
        while self._newer:
            pixels, index, valid = self._newer.pop()
            with_later = self._start()
            with_later.add(pixels, index=index, valid=valid)
            if self._older:
                with_later.merge(self._older[-1][0])
            self._older.append((with_later, index))
        self._of_newer = self._start()

    def result(self) -> Picture:
        """Return what the frames in the window blend to."""
        both = self._start()
        if self._older:
            both.merge(self._older[-1][0])
        both.merge(self._of_newer)
        return both.result()


def window_of(blend: Blend, intake: Intake, rows: int, width: int) -> Window:
    """Return an empty window for a blend whose accumulators do not grow with their frames."""
    if isinstance(blend, Mean | Sum):
        return SummedWindow(blend, intake, rows, width)
    return QueuedWindow(blend, intake, rows, width)


def window_row_bytes(blend: Blend, intake: Intake, width: int, frames: int) -> int:
    """Return the memory that a window of so many frames takes per row at the most, in bytes."""
    pixels = width * (3 * np.dtype(intake.encoding.stored).itemsize + int(intake.masked))
    own = blend.row_bytes(intake, width)
    if isinstance(blend, Mean | Sum):
        return own + frames * pixels
    # two more at work: that of the newer frames and the one being made
    return 2 * own + frames * max(own, pixels)
