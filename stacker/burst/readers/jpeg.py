"""JPEG files: the picture itself, its Exif and its profile.

Sources: ITU-T T.81 annex B (markers); ICC.1:2022 annex B.4 (profiles in several APP2 segments);
CIPA DC-008 clause 4.7.2 (Exif in APP1). Pictures appended behind the first one (previews, gain
maps: CIPA DC-007) are not looked at.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np

from stacker.burst.colour import space_of_frame
from stacker.burst.exif import read_exif
from stacker.burst.ifd import EXIF_PREFIX
from stacker.burst.readers.facts import FrameFacts
from stacker.errors import FrameError
from stacker.light.encoding import Encoding, PixelArray

SOI, EOI, SOS, APP1, APP2 = 0xD8, 0xD9, 0xDA, 0xE1, 0xE2
ICC_PREFIX = b"ICC_PROFILE\0"
# start of frame, all sorts: C4, C8 and CC of this row mean something else
FRAME_MARKERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
READABLE_FRAMES = frozenset({0xC0, 0xC1, 0xC2})
CMYK_CHANNELS = 4
# libjpeg's words for bytes between two segments, which harm nothing
HARMLESS = "extraneous bytes before marker"
CUT_SHORT = "the JPEG is cut short"
COPY_AGAIN = "copy it from the card again or leave it out"


@dataclass(frozen=True)
class _Header:
    """What the segments before the first scan say."""

    size: tuple[int, int]
    exif: bytes | None
    icc: bytes | None
    broken_profile: bool


class JpegReader:
    """Reads 8-bit gray and colour JPEG files."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the one frame in a JPEG file.

        Raises
        ------
        FrameError
            The header is damaged, or the picture is CMYK, lossless or of 12 bits.
        """
        try:
            with path.open("rb") as file:
                header = _read_header(path, file)
        except OSError as error:
            raise unopened(path, error) from error
        shot = read_exif(header.exif)
        space, notes = space_of_frame(header.icc, adobe_rgb=shot.adobe_rgb)
        if shot.broken:
            notes = (*notes, "the Exif data is damaged and only partly used")
        if header.broken_profile:
            notes = (*notes, "the embedded colour profile is incomplete; taken as sRGB")
        encoding = Encoding("uint8", space)
        return [FrameFacts(header.size, encoding, shot, header.exif, notes=notes)]

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the picture, uint8 (H, W, 3); see ``Reader``."""
        try:
            data = path.read_bytes()
        except OSError as error:
            raise unopened(path, error) from error
        for number in numbers:
            yield number, _decode(path, data, out)


def unopened(path: Path, error: OSError) -> FrameError:
    """Return the error for a file that the system does not let us read."""
    why = f"it cannot be opened ({error.strerror or error})"
    return FrameError(path, why, remedy="check that you may read it", code="frame-unreadable")


def _decode(path: Path, data: bytes, out: PixelArray | None) -> PixelArray:
    """Return the picture whole, or raise.

    libjpeg goes on over damage with a mere warning and leaves the rest of the picture gray, so
    every warning counts as an error but one: bytes between two segments, which some cameras and
    editors leave there, are skipped without loss. No other sign tells that warning from the
    rest but its text. The file must then hold an end marker, and be decoded a second time with
    warnings off; a second, worse warning behind the first one stays unseen.
    """
    import simplejpeg

    try:
        return _call(simplejpeg.decode_jpeg, data, out, strict=True)
    except ValueError as error:
        if HARMLESS not in str(error).lower() or b"\xff\xd9" not in data[-4096:]:
            raise _refused(path, data, error) from error
    try:
        return _call(simplejpeg.decode_jpeg, data, out, strict=False)
    except ValueError as error:
        raise _refused(path, data, error) from error


def _call(decode: Any, data: bytes, out: PixelArray | None, *, strict: bool) -> PixelArray:
    return np.asarray(decode(data, colorspace="RGB", buffer=out, strict=strict))


def _refused(path: Path, data: bytes, error: ValueError) -> FrameError:
    """Return the error for a picture that libjpeg stumbled over."""
    if b"\xff\xd9" not in data[-4096:]:
        return FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
    why = f"the JPEG is damaged ({error})"
    return FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")


def _read_header(path: Path, file: IO[bytes]) -> _Header:
    """Return what the segments up to the first scan say."""
    exif: bytes | None = None
    chunks: dict[int, bytes] = {}
    chunk_count = 0
    size: tuple[int, int] | None = None
    for marker, body in _segments(path, file):
        if marker == APP1 and body.startswith(EXIF_PREFIX) and exif is None:
            exif = body
        elif marker == APP2 and body.startswith(ICC_PREFIX) and len(body) > 14:
            chunks[body[12]], chunk_count = body[14:], body[13]
        elif marker in FRAME_MARKERS and size is None:
            size = _frame_size(path, marker, body)
    if size is None:
        raise FrameError(
            path, "the JPEG has no picture in it", remedy=COPY_AGAIN, code="frame-unreadable"
        )
    whole = set(chunks) == set(range(1, chunk_count + 1))
    icc = b"".join(chunks[place] for place in sorted(chunks)) if chunks and whole else None
    return _Header(size, exif, icc, not whole)


def _segments(path: Path, file: IO[bytes]) -> Iterator[tuple[int, bytes]]:
    """Yield marker and body of each segment before the first scan."""
    if file.read(2) != b"\xff\xd8":
        raise FrameError(path, "it is no JPEG", remedy=COPY_AGAIN, code="frame-unreadable")
    while True:
        marker = _next_marker(file)
        if marker is None or marker == EOI:
            raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
        if marker == SOS:
            return
        if marker == 0x01 or 0xD0 <= marker <= SOI:
            continue
        length = file.read(2)
        body = file.read(int.from_bytes(length, "big") - 2) if length > b"\0\1" else b""
        if len(length) < 2 or len(body) + 2 < int.from_bytes(length, "big"):
            raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
        yield marker, body


def _next_marker(file: IO[bytes]) -> int | None:
    """Return the next marker, skipping fill and stray bytes; None at the end."""
    byte = file.read(1)
    while byte:
        if byte == b"\xff":
            while byte == b"\xff":
                byte = file.read(1)
            if byte and byte != b"\0":
                return byte[0]
        byte = file.read(1)
    return None


def _frame_size(path: Path, marker: int, body: bytes) -> tuple[int, int]:
    """Return (width, height) from a start-of-frame segment, refusing what is not read."""
    try:
        bits, height, width, channels = struct.unpack_from(">BHHB", body)
    except struct.error as error:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated") from error
    if channels == CMYK_CHANNELS:
        raise FrameError(
            path, "the JPEG is CMYK", remedy="convert it to RGB", code="frame-unsupported"
        )
    if marker not in READABLE_FRAMES or bits != 8 or channels not in (1, 3):
        why = f"the JPEG is of a rare sort ({bits} bits, {channels} channels, process {marker:X})"
        raise FrameError(path, why, remedy="convert it to TIFF", code="frame-unsupported")
    if not width or not height:
        raise FrameError(
            path, "the JPEG says it has no pixels", remedy=COPY_AGAIN, code="frame-unreadable"
        )
    return width, height


READER = JpegReader()
