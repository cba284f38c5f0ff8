"""Frames reduced in linear light, for previews: a burst like any other, only smaller.

Commands and the page make their previews from the same reduced frames, so that they agree.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from math import ceil

import numpy as np

from stacker.burst import Burst, Frame
from stacker.burst.orientation import UPRIGHT
from stacker.light.buffers import scratch
from stacker.light.encoding import (
    CODE_MAX,
    Encoder,
    Encoding,
    LightArray,
    PixelArray,
    look_up,
)
from stacker.light.reduce import reduce_light

# the longer side of a preview has at most so many pixels
PREVIEW_SIDE = 1500
# what the reduced frames of one burst may take when all are held: 133 of 8 bits at 1500 x 1000
FRAMES_BYTES = 600 * 10**6


@dataclass(frozen=True)
class ReducedBurst(Burst):
    """A burst whose frames are given reduced, in codes of the burst's own space.

    Parameters
    ----------
    whole : the burst at full size, with its corrections.
    factor : pixels of a frame along the side of one reduced pixel.

    Notes
    -----
    Light is averaged, then stored in as many bits as the files have; of frames given as light, in
    16 bits, where light beyond white is cut.
    """

    whole: Burst = field(default_factory=lambda: Burst(()))
    factor: int = 1

    def _decode_sound(
        self, indices: Sequence[int], out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield (index, reduced pixels) of frames without a problem in one file."""
        if not indices:
            return
        width, height = self.whole.size
        stored = self.whole.encoding.stored
        pixels_of_one = scratch("frame to reduce", (height, width, 3), stored)
        for index, pixels in self.whole.decode(indices, out=pixels_of_one):
            small = reduced(pixels, self.whole.encoding, self.frames[index].encoding, self.factor)
            if out is not None:
                np.copyto(out, small)
                small = out
            yield index, small


@dataclass(frozen=True)
class HeldBurst(ReducedBurst):
    """The same with its frames in memory: ``held`` has one each, None where there is none yet.

    Frames that are not there yet come from the files.
    """

    held: Sequence[PixelArray | None] = field(default=(), repr=False)

    def unheld(self) -> ReducedBurst:
        """Return the same burst with its frames read from the files each time."""
        parts = {name.name: getattr(self, name.name) for name in fields(ReducedBurst)}
        return ReducedBurst(**parts)

    def runs(self, indices: Sequence[int]) -> list[tuple[int, ...]]:
        """Return each index by itself: in memory no frame hangs on another."""
        return [(index,) for index in sorted(set(indices))]

    def _decode_sound(
        self, indices: Sequence[int], out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        for index in indices:
            pixels = self.held[index]
            if pixels is None:
                yield from super()._decode_sound([index], out)
            elif out is None:
                yield index, pixels.copy()
            else:
                np.copyto(out, pixels)
                yield index, out


def reduce_burst(burst: Burst, factor: int | None = None) -> ReducedBurst:
    """Return the burst with frames reduced by a factor; ``preview_factor`` if None."""
    factor = preview_factor(burst) if factor is None else factor
    encoding = _stored(burst.encoding)
    frames = tuple(_reduced_frame(frame, encoding, factor) for frame in burst.frames)
    return ReducedBurst(frames, burst.passed_over, burst.warnings, whole=burst, factor=factor)


def held_burst(burst: ReducedBurst, held: Sequence[PixelArray | None]) -> HeldBurst:
    """Return the burst with its frames in memory, as ``held`` has them."""
    parts = {name.name: getattr(burst, name.name) for name in fields(ReducedBurst)}
    return HeldBurst(**parts, held=held)


def timed_as(burst: ReducedBurst, other: Burst) -> ReducedBurst:
    """Return the burst with the times of another of the same frames."""
    frames = tuple(
        replace(frame, start_s=timed.start_s, shutter_s=timed.shutter_s)
        for frame, timed in zip(burst.frames, other.frames, strict=True)
    )
    return replace(burst, frames=frames)


def reduced(pixels: PixelArray, encoding: Encoding, stored: Encoding, factor: int) -> PixelArray:
    """Return pixels averaged in light over cells of ``factor`` x ``factor``, in ``stored`` codes.

    Parameters
    ----------
    pixels : (H, W, 3) in ``encoding``; not changed.
    stored : codes in which the result is given, uint8 or uint16 (H // factor, W // factor, 3).
    """
    if factor == 1 and encoding == stored:
        return pixels.copy()
    return to_codes(reduce_light(pixels, encoding, factor), stored)


def to_codes(light: LightArray, stored: Encoding) -> PixelArray:
    """Return light in the nearest codes, uint8 or uint16 of the same shape."""
    codes = Encoder(stored.curve).encode(light)
    if stored.stored == "uint16":
        return codes
    nearest = np.rint(np.arange(CODE_MAX + 1) * (255 / CODE_MAX)).astype(np.uint8)
    return look_up(codes, nearest)


def preview_factor(burst: Burst, side: int = PREVIEW_SIDE) -> int:
    """Return the least factor that brings frames to ``side`` pixels along the longer side.

    Of very many frames a greater one, so that all of them can be held in memory.
    """
    width, height = burst.size
    sample_bytes = np.dtype(_stored(burst.encoding).stored).itemsize
    factor = max(1, ceil(max(width, height) / side))
    room = FRAMES_BYTES / (len(burst.frames) * 3 * sample_bytes)
    while (width // factor) * (height // factor) > room and min(width, height) >= 2 * factor:
        factor += 1
    return factor


def _stored(encoding: Encoding) -> Encoding:
    """Return the codes in which reduced frames are stored."""
    if encoding.stored == "uint8":
        return encoding
    return Encoding("uint16", encoding.space)


def _reduced_frame(frame: Frame, encoding: Encoding, factor: int) -> Frame:
    width, height = frame.size
    return replace(
        frame,
        size=(width // factor, height // factor),
        encoding=encoding,
        orientation=UPRIGHT,
        development=None,
    )
