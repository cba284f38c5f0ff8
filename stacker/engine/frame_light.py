"""The light of whole frames, one after another, each brought to where it belongs."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Sequence

import numpy as np

from stacker.burst import Burst
from stacker.engine.holding import Holding
from stacker.engine.memory import KEPT_FRAMES
from stacker.engine.passes import resampled_rows
from stacker.light.buffers import zeros
from stacker.light.encoding import LightArray, PixelArray, decode


class FrameLight:
    """Gives the light of the frames at ``places`` by their number among them, for one thread.

    Of the picture's region only. Asked for in order, a clip is decoded once. The last ``kept``
    frames are kept: whoever looks at pairs asks for each twice.
    """

    def __init__(
        self,
        burst: Burst,
        places: Sequence[int],
        holding: Holding,
        kept: int = KEPT_FRAMES,
    ) -> None:
        self.burst = burst
        self.places = places
        self.holding = holding
        self.kept = kept
        self._kept: OrderedDict[int, LightArray] = OrderedDict()
        self._coming: Iterator[tuple[int, PixelArray]] = iter(())
        self._next: int | None = None
        width, height = burst.size
        self._pixels = zeros((height, width, 3), burst.encoding.stored)

    def __call__(self, number: int) -> LightArray:
        """Return the light, float32 (h, w, 3).

        Raises
        ------
        FrameError
            The frame cannot be read.
        """
        if number in self._kept:
            self._kept.move_to_end(number)
            return self._kept[number]
        while len(self._kept) >= self.kept:
            self._kept.popitem(last=False)
        light = self._light(self.places[number], self._decoded(number))
        light.flags.writeable = False
        self._kept[number] = light
        return light

    def _decoded(self, number: int) -> PixelArray:
        place = self.places[number]
        if number != self._next or (found := next(self._coming, None)) is None:
            rest = next(run for run in self.burst.runs(self.places[number:]) if place in run)
            self._coming = self.burst.decode(rest, out=self._pixels)
            found = next(self._coming)
        self._next = number + 1
        return found[1]

    def _light(self, place: int, pixels: PixelArray) -> LightArray:
        region = self.holding.region
        rows, columns = region.rows, slice(region.columns.start, region.columns.stop)
        warp = self.holding.warps.get(place)
        if warp is not None:
            light = np.empty((len(rows), pixels.shape[1], 3), np.float32)
            resampled_rows(warp, pixels, self.burst.encoding, rows, out=light)
            return np.ascontiguousarray(light[:, columns])
        cut = np.ascontiguousarray(pixels[rows.start : rows.stop, columns])
        return decode(cut, self.burst.encoding)
