"""The pictures of a film, made while its frames come in."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from itertools import accumulate
from typing import Self

import cv2
import numpy as np

from stacker.blend import Accumulator, Blend, Intake, ValidMask
from stacker.blend.sliding import window_of
from stacker.engine.film_gaps import GapsOnTheWay
from stacker.light.encoding import Encoding, LightArray, Picture, PixelArray, as_light, decode

Show = Callable[[Picture], None]


class FilmMaker(Accumulator):
    """Takes frames as accumulators do and shows a picture after each; never merged."""

    def merge(self, other: Self) -> None:
        """A film is made in the order of its frames: there is nothing to merge."""
        raise TypeError("a film's pictures do not merge")


class BuildUp(FilmMaker):
    """Shows the exposure as it is after each frame, at full size.

    ``gaps`` adds the light of the gaps between the frames so far; none if None.
    """

    def __init__(
        self,
        blend: Blend,
        intake: Intake,
        rows: int,
        width: int,
        show: Show,
        gaps: GapsOnTheWay | None = None,
    ) -> None:
        super().__init__(intake, rows, width)
        self._growing = blend.start(intake, rows, width)
        self._show = show
        self._gaps = gaps

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        self._growing.add(pixels, index=index, valid=valid)
        if self._gaps is not None:
            self._gaps.take(pixels, index)
        self._show(self.result())

    def result(self) -> Picture:
        """Return the exposure so far."""
        picture = self._growing.result()
        return picture if self._gaps is None else self._gaps.joined(picture)


class Sliding(FilmMaker):
    """Shows what a window blends to that ends with each frame.

    Frames are brought to the film's size first, so that a long window fits into memory.

    Parameters
    ----------
    starts : for the place of each frame with which a window ends, the place with which it starts.
    scale : brings light to the film's size; None keeps the pixels as they are.
    columns : those of a frame that are in the picture.
    """

    def __init__(
        self,
        blend: Blend,
        intake: Intake,
        rows: int,
        columns: range,
        *,
        starts: Mapping[int, int],
        size: tuple[int, int],
        scale: Callable[[LightArray], LightArray] | None,
        show: Show,
    ) -> None:
        super().__init__(intake, rows, len(columns))
        self._from = intake.encoding
        own = intake_of_window(intake, scaled=scale is not None)
        self._window = window_of(blend, own, size[1], size[0])
        self._columns = slice(columns.start, columns.stop)
        self._starts = starts
        self._scale = scale
        self._size = size
        self._show = show
        self._oldest: list[int] = []

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        inside = pixels[:, self._columns]
        seen = None if valid is None else valid[:, self._columns]
        if self._scale is None:
            width, height = self._size
            # kept while the worker's buffer goes on to the next frame
            inside = inside[:height, :width].copy()
            seen = None if seen is None else seen[:height, :width].copy()
        else:
            inside = self._scale(decode(np.ascontiguousarray(inside), self._from))
            seen = None if seen is None else _scaled_mask(seen, self._size)
        self._window.push(inside, index=index, valid=seen)
        self._oldest.append(index)
        start = self._starts.get(index)
        if start is None:
            return
        while self._oldest[0] < start:
            self._window.drop()
            del self._oldest[0]
        self._show(self._window.result())

    def result(self) -> Picture:
        """Return what the window blends to."""
        return self._window.result()


def intake_of_window(intake: Intake, *, scaled: bool) -> Intake:
    """Return what a window's blend may expect: light, where frames are scaled."""
    if not scaled:
        return intake
    encoding = Encoding("float32", intake.encoding.space)
    return Intake(encoding, intake.weights, masked=intake.masked, ordered=True)


def window_starts(
    places: Sequence[int], shutters_s: Sequence[float], open_s: float
) -> dict[int, int]:
    """Return for the last frame of each window its first one; both by their place.

    Of all windows that end with a frame the one is taken whose open time comes nearest. The first
    window starts with the first frame.

    Parameters
    ----------
    places : of the frames, rising.
    shutters_s : how long each of them was open.
    open_s : the open time of a window, at most that of all.
    """
    until = [0.0, *accumulate(shutters_s)]
    first = min(range(len(places)), key=lambda k: abs(until[k + 1] - open_s))
    starts = {}
    for end in range(first, len(places)):
        # the first start after which less than the time is left, or the one before
        after = bisect_left(until, until[end + 1] - open_s, 0, end + 1)
        near = [k for k in (after - 1, after) if 0 <= k <= end]
        # rounding of sums shall not make windows of equal frames differ
        start = min(near, key=lambda k: (round(abs(until[end + 1] - until[k] - open_s), 9), -k))
        starts[places[end]] = places[start]
    return starts


def scaler(size: tuple[int, int]) -> Callable[[LightArray], LightArray]:
    """Return what averages light to (width, height), float32."""

    def scale(light: LightArray) -> LightArray:
        return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)

    return scale


def fitted(picture: Picture, columns: range, size: tuple[int, int], *, scaled: bool) -> LightArray:
    """Return the light of a full-size picture at the film's size, float32 (H, W, 3)."""
    light = np.ascontiguousarray(as_light(picture)[:, columns.start : columns.stop])
    if scaled:
        return scaler(size)(light)
    return np.ascontiguousarray(light[: size[1], : size[0]])


def _scaled_mask(valid: ValidMask, size: tuple[int, int]) -> ValidMask:
    """Return where all pixels of a cell are valid."""
    share = cv2.resize(valid.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return np.asarray(share > 1 - 1e-3, np.bool_)
