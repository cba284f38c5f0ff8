"""A burst as it lies in its files: what a camera adds by itself lies the same way in each."""

from __future__ import annotations

from dataclasses import replace

from stacker.burst.frame import Burst, Frame
from stacker.burst.orientation import UPRIGHT, turned_size
from stacker.burst.readers.mosaic import packed_size
from stacker.light.curves import LINEAR
from stacker.light.encoding import Encoding
from stacker.light.space import SRGB

RAW, HALF_RAW, MOSAIC = "raw", "raw, half", "mosaic"


def as_stored(burst: Burst) -> Burst:
    """Return the burst with its frames not turned, uncorrected, and raw ones not developed.

    Raw frames come as packed mosaics: see ``readers.mosaic``.
    """
    return replace(
        burst, frames=tuple(_as_stored(each) for each in burst.frames), corrections=(), retouch=None
    )


def stored_size(frame: Frame) -> tuple[int, int]:
    """Return (width, height) of a frame as it lies in its file; of a mosaic, not packed."""
    return turned_size(frame.size, frame.orientation)


def is_raw(burst: Burst) -> bool:
    """Whether the frames are codes of a sensor."""
    return burst.development is not None


def _as_stored(frame: Frame) -> Frame:
    size = stored_size(frame)
    if frame.kind != RAW:
        return replace(frame, orientation=UPRIGHT, size=size)
    return replace(
        frame,
        kind=MOSAIC,
        orientation=UPRIGHT,
        size=packed_size(size),
        # the numbers count as light: what is half-way between two codes is half the light
        encoding=Encoding("uint16", SRGB, LINEAR),
        development=None,
    )
