"""PNG files at their full depth, 8 or 16 bits.

Source: W3C Portable Network Graphics (Third Edition), clauses 5 (chunks) and 11 (chunk kinds).
``gAMA`` and ``cHRM`` are not looked at: without a profile the numbers are taken as sRGB.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import cv2
import numpy as np

from stacker.burst.colour import colour_of_frame
from stacker.burst.exif import read_exif
from stacker.burst.readers.facts import (
    COPY_AGAIN,
    FrameFacts,
    in_short,
    read_whole,
    refuse_absurd_size,
    unopened,
)
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
END_CHUNK = b"IEND\xaeB`\x82"
# colour types of IHDR
GRAY, RGB, GRAY_ALPHA, RGB_ALPHA = 0, 2, 4, 6
NEEDED_CHUNKS = (b"IHDR", b"PLTE", b"tRNS")
# larger chunks before the picture hold neither profile nor Exif of a camera
MAX_CHUNK = 1 << 24
# where an eXIf chunk behind the picture is looked for
TAIL_BYTES = 1 << 17
CUT_SHORT = "the PNG is cut short"


@dataclass
class _Header:
    """What the chunks before the picture say."""

    size: tuple[int, int] = (0, 0)
    depth: int = 8
    colour_type: int = 2
    chunks: dict[bytes, bytes] = field(default_factory=dict)

    @property
    def has_alpha(self) -> bool:
        return self.colour_type in (GRAY_ALPHA, RGB_ALPHA) or b"tRNS" in self.chunks


class PngReader:
    """Reads PNG files; of an animated one the first picture."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the one frame in a PNG file.

        Raises
        ------
        FrameError
            The header is damaged or claims an absurd size.
        """
        try:
            with path.open("rb") as file:
                header = _read_header(path, file)
        except OSError as error:
            raise unopened(path, error) from error
        exif = header.chunks.get(b"eXIf")
        shot = read_exif(exif)
        icc = _profile(header.chunks[b"iCCP"]) if b"iCCP" in header.chunks else None
        colour = colour_of_frame(
            icc,
            "uint16" if header.depth == 16 else "uint8",
            gray=header.colour_type in (GRAY, GRAY_ALPHA),
            adobe_rgb=shot.adobe_rgb,
            broken=icc is None and b"iCCP" in header.chunks,
        )
        notes = colour.notes
        if shot.broken:
            notes += ("the Exif data is damaged and only partly used",)
        if header.has_alpha:
            notes += ("its transparency is left out",)
        return [
            FrameFacts(
                header.size, colour.encoding, shot, exif, notes=notes, guesses=colour.guesses
            )
        ]

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the picture, uint8 or uint16 (H, W, 3); see ``Reader``."""
        data = read_whole(path)
        for number in numbers:
            yield number, to_rgb(_decode(path, data, out), out)


def _decode(path: Path, data: bytes, out: PixelArray | None) -> PixelArray:
    """Return the picture with as many channels as stored, or raise."""
    import imagecodecs

    # libpng is content once the last pixel is there; a missing end still tells of a cut file
    if END_CHUNK not in data[-TAIL_BYTES:]:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
    data = _bare(data)
    fits = data[25:26] == bytes([RGB]) and b"tRNS" not in data[: data.find(b"IDAT")]
    try:
        return np.asarray(imagecodecs.png_decode(data, out=out if fits else None))
    except (imagecodecs.PngError, ValueError) as error:
        why = f"the PNG is damaged ({in_short(error)})"
        raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable") from error


def _bare(data: bytes) -> bytes:
    """Return a PNG without the chunks before the picture that its pixels do not need.

    libpng would print a line of its own about each of them that is damaged.
    """
    parts = [SIGNATURE]
    place = len(SIGNATURE)
    while place + 8 <= len(data):
        length, name = struct.unpack_from(">I4s", data, place)
        if name == b"IDAT":
            return b"".join((*parts, data[place:]))
        if name in NEEDED_CHUNKS:
            parts.append(data[place : place + 12 + length])
        place += 12 + length
    return data


def to_rgb(pixels: PixelArray, out: PixelArray | None) -> PixelArray:
    """Return (H, W, 3) of gray, gray with alpha, RGB or RGBA pixels; alpha is left out."""
    if pixels.ndim == 3 and pixels.shape[2] == 3:
        return pixels
    channels = 1 if pixels.ndim == 2 else pixels.shape[2]
    if channels == 4:
        return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGBA2RGB, dst=out))
    gray = pixels if pixels.ndim == 2 else np.ascontiguousarray(pixels[..., 0])
    return np.asarray(cv2.merge([gray, gray, gray], dst=out))


def _read_header(path: Path, file: IO[bytes]) -> _Header:
    """Return what the chunks before the picture say, and Exif behind it."""
    header = _Header()
    if file.read(8) != SIGNATURE:
        raise FrameError(path, "it is no PNG", remedy=COPY_AGAIN, code="frame-unreadable")
    while True:
        head = file.read(8)
        if len(head) < 8:
            raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
        length, name = struct.unpack(">I4s", head)
        if name == b"IDAT":
            break
        if name == b"IEND" or not name.isalpha():
            raise FrameError(
                path, "the PNG has no picture in it", remedy=COPY_AGAIN, code="frame-unreadable"
            )
        if length > MAX_CHUNK:
            file.seek(length + 4, 1)
            continue
        body = file.read(length + 4)[:-4]
        if len(body) < length:
            raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
        header.chunks.setdefault(name, body)
    _read_ihdr(path, header)
    if b"eXIf" not in header.chunks:
        _look_behind(file, header)
    return header


def _read_ihdr(path: Path, header: _Header) -> None:
    try:
        width, height, depth, colour_type = struct.unpack_from(
            ">IIBB", header.chunks.get(b"IHDR", b"")
        )
    except struct.error as error:
        raise FrameError(
            path, "the PNG has no header", remedy=COPY_AGAIN, code="frame-unreadable"
        ) from error
    refuse_absurd_size(path, "the PNG", (width, height))
    header.size, header.depth, header.colour_type = (width, height), depth, colour_type


def _look_behind(file: IO[bytes], header: _Header) -> None:
    """Find an eXIf chunk that follows the picture, known by its check sum."""
    end = file.seek(0, 2)
    file.seek(max(0, end - TAIL_BYTES))
    tail = file.read()
    place = tail.rfind(b"eXIf")
    if place < 4:
        return
    (length,) = struct.unpack_from(">I", tail, place - 4)
    body, check = tail[place : place + 4 + length], tail[place + 4 + length : place + 8 + length]
    if len(check) == 4 and zlib.crc32(body) == int.from_bytes(check, "big"):
        header.chunks[b"eXIf"] = body[4:]


def _profile(chunk: bytes) -> bytes | None:
    """Return the profile packed in an iCCP chunk, None where it is damaged."""
    _, _, packed = chunk.partition(b"\0")
    try:
        return zlib.decompressobj().decompress(packed[1:], MAX_CHUNK)
    except zlib.error:
        return None


READER = PngReader()
