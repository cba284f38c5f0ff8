"""Raw files as the codes of their sensor, undeveloped."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from stacker.burst.readers.facts import FrameFacts
from stacker.burst.readers.raw import READER as RAW_READER
from stacker.burst.readers.raw import opened_raw
from stacker.burst.readers.raw_codes import codes_of, mosaic_of
from stacker.light.encoding import PixelArray, Uint16Array
from stacker.light.master import Mosaic

CHANNELS = 3


class MosaicReader:
    """Reads what ``RawReader`` reads, as packed mosaics."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the one frame in a raw file; see ``Reader``."""
        return RAW_READER.inspect(path)

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the codes, packed, uint16 (H, packed width, 3); see ``Reader``."""
        for number in numbers:
            with opened_raw(path) as raw:
                packed = pack(codes_of(path, raw), out)
            yield number, packed


def packed_size(size: tuple[int, int]) -> tuple[int, int]:
    """Return (width, height) of the packed form of a mosaic of (width, height)."""
    return -(-size[0] // CHANNELS), size[1]


def pack(codes: Uint16Array, out: PixelArray | None = None) -> PixelArray:
    """Return a mosaic with three neighbours of a row as the channels of one pixel.

    So it takes the same pass over the files as pictures do: what is worked out there for every
    value alone, as the median is, does not ask which channel it is. Rows end in up to two zeros.
    """
    height, width = codes.shape
    columns, _ = packed_size((width, height))
    packed = out if out is not None else np.empty((height, columns, CHANNELS), np.uint16)
    rows = packed.reshape(height, columns * CHANNELS)
    rows[:, :width] = codes
    rows[:, width:] = 0
    return packed


def unpack(packed: PixelArray, width: int) -> PixelArray:
    """Return the mosaic (H, W) of its packed form, as a view."""
    return packed.reshape(len(packed), -1)[:, :width]


def read_mosaic(path: Path) -> Mosaic:
    """Return what the codes of a raw file mean.

    Raises
    ------
    FrameError
        The file cannot be used.
    """
    with opened_raw(path) as raw:
        codes_of(path, raw)
        return mosaic_of(raw)


READER = MosaicReader()
