"""AVIF files of 8, 10 and 12 bits, one picture a file.

Size, turning and Exif come from Pillow; depth and colour are looked up in the file's own boxes,
which Pillow does not tell; the codes come from a decoder that keeps their depth.

Sources: AV1 Codec ISO Media File Format Binding 1.2 (AOMedia, 2019), clause 2.3 (av1C);
ISO/IEC 23008-12 clause 6.5.5 (colr).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from stacker.burst.colour import colour_of_frame, colour_of_numbers
from stacker.burst.exif import read_exif
from stacker.burst.readers.boxes import boxes_are_whole
from stacker.burst.readers.facts import (
    COPY_AGAIN,
    FrameFacts,
    in_short,
    refuse_absurd_size,
    unopened,
)
from stacker.burst.readers.other import DAMAGE
from stacker.burst.readers.rgb import plain_rgb
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray, Stored

# the boxes that describe the picture lie within so many bytes of the start
HEADER_BYTES = 1 << 20
HIGH_DEPTH, TWELVE_BITS = 0x40, 0x20
CUT_SHORT = "the AVIF file is cut short"


class AvifReader:
    """Reads AVIF stills."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the first picture in a file.

        Raises
        ------
        FrameError
            The file is cut short, damaged, or claims an absurd size.
        """
        data = _whole_file(path)
        (width, height), about, exif, count = _header(path)
        refuse_absurd_size(path, "the AVIF file", (width, height))
        # Pillow writes the turning of the file's own property into the block
        shot = read_exif(exif)
        icc = about.get("icc_profile")
        stored: Stored = "uint16" if _depth(data) > 8 else "uint8"
        if isinstance(icc, bytes) and icc:
            colour = colour_of_frame(icc, stored, gray=about["gray"])
        else:
            colour = colour_of_numbers(*_colour_numbers(data), stored)
        notes = colour.notes
        if shot.broken:
            notes += ("the Exif data is damaged and only partly used",)
        if about["alpha"]:
            notes += ("its transparency is left out",)
        if count > 1:
            notes += ("only the first of its pictures is used",)
        size = (width, height)
        return [FrameFacts(size, colour.encoding, shot, exif, notes=notes, guesses=colour.guesses)]

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the picture, uint8 or uint16 (H, W, 3); see ``Reader``."""
        import imagecodecs

        data = _whole_file(path)
        try:
            codes = np.asarray(imagecodecs.avif_decode(data, index=0))
        except DAMAGE as error:
            # the codec's own error among them
            raise _damaged(path, error) from error
        pixels = plain_rgb(codes, _depth(data), out)
        for number in numbers:
            yield number, pixels


def _damaged(path: Path, error: Exception) -> FrameError:
    why = f"the AVIF file is damaged ({in_short(error)})"
    return FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")


def _whole_file(path: Path) -> bytes:
    """Return the bytes of a file whose last box ends where it ends."""
    try:
        with path.open("rb") as stream:
            whole = boxes_are_whole(stream)
            stream.seek(0)
            data = stream.read()
    except struct.error:
        whole = False
    except OSError as error:
        raise unopened(path, error) from error
    if not whole:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
    return data


def _header(path: Path) -> tuple[tuple[int, int], dict[str, Any], bytes | None, int]:
    """Return size as stored, what Pillow tells, the Exif block and how many pictures there are."""
    from PIL import Image

    try:
        with Image.open(path, formats=("AVIF",)) as picture:
            about = {str(key): value for key, value in picture.info.items()}
            about["alpha"] = "A" in picture.getbands()
            about["gray"] = "L" in picture.getbands()
            exif = about.get("exif")
            block = exif if isinstance(exif, bytes) and exif else None
            return picture.size, about, block, int(getattr(picture, "n_frames", 1))
    except DAMAGE as error:
        raise _damaged(path, error) from error


def _depth(data: bytes) -> int:
    """Return the bits of a code, from the configuration of the picture's decoder."""
    place = data.find(b"av1C", 0, HEADER_BYTES)
    if place < 0 or place + 6 >= len(data) or not data[place + 6] & HIGH_DEPTH:
        return 8
    return 12 if data[place + 6] & TWELVE_BITS else 10


def _colour_numbers(data: bytes) -> tuple[int, int]:
    """Return primaries and transfer curve by their numbers, 2 where nothing is said."""
    place = data.find(b"colrnclx", 0, HEADER_BYTES)
    if place < 0 or place + 12 > len(data):
        return 2, 2
    primaries, curve = struct.unpack_from(">HH", data, place + 8)
    return int(primaries), int(curve)


READER = AvifReader()
