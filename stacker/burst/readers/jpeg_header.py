"""The segments of a JPEG file before its picture: size, Exif and profile.

Sources: ITU-T T.81 annex B (markers); ICC.1:2022 annex B.4 (profiles in several APP2 segments);
CIPA DC-008 clause 4.7.2 (Exif in APP1).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from stacker.burst.ifd import EXIF_PREFIX
from stacker.burst.readers.facts import COPY_AGAIN, refuse_absurd_size
from stacker.burst.readers.jpeg_gain_map import tells_of_gain_map
from stacker.errors import FrameError

SOI, EOI, SOS, APP1, APP2 = 0xD8, 0xD9, 0xDA, 0xE1, 0xE2
ICC_PREFIX = b"ICC_PROFILE\0"
# start of frame, all sorts: C4, C8 and CC of this row mean something else
FRAME_MARKERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
READABLE_FRAMES = frozenset({0xC0, 0xC1, 0xC2})
CMYK_CHANNELS = 4
CUT_SHORT = "the JPEG is cut short"


@dataclass(frozen=True)
class Header:
    """What the segments before the first scan say."""

    size: tuple[int, int]
    gray: bool
    exif: bytes | None
    icc: bytes | None
    broken_profile: bool
    gain_map: bool


def read_header(path: Path, file: IO[bytes]) -> Header:
    """Return what the segments up to the first scan say."""
    exif: bytes | None = None
    chunks: dict[int, bytes] = {}
    chunk_count = 0
    size: tuple[int, int] | None = None
    channels = 3
    gain_map = False
    for marker, body in segments(path, file):
        if marker == APP1 and body.startswith(EXIF_PREFIX) and exif is None:
            exif = body
        elif marker == APP2 and body.startswith(ICC_PREFIX) and len(body) > 14:
            chunks[body[12]], chunk_count = body[14:], body[13]
        elif marker in (APP1, APP2) and not gain_map:
            gain_map = tells_of_gain_map(body, file)
        elif marker in FRAME_MARKERS and size is None:
            size, channels = _frame_form(path, marker, body)
    if size is None:
        raise FrameError(
            path, "the JPEG has no picture in it", remedy=COPY_AGAIN, code="frame-unreadable"
        )
    whole = set(chunks) == set(range(1, chunk_count + 1))
    icc = b"".join(chunks[place] for place in sorted(chunks)) if chunks and whole else None
    return Header(size, channels == 1, exif, icc, not whole, gain_map)


def segments(path: Path, file: IO[bytes]) -> Iterator[tuple[int, bytes]]:
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


def _frame_form(path: Path, marker: int, body: bytes) -> tuple[tuple[int, int], int]:
    """Return (width, height) and channels from a start-of-frame segment, or refuse it."""
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
    refuse_absurd_size(path, "the JPEG", (width, height))
    return (width, height), channels
