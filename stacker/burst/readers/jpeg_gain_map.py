"""Whether a JPEG carries a gain map: a second picture behind the first that says how much brighter
a bright display may show it.

Sources: ISO 21496-1:2025 annex C and the "hdrgm" namespace of the formats before it (both mark the
first picture); CIPA DC-007 clause 5 (the index of pictures in one file, in an APP2 segment).
"""

from __future__ import annotations

import struct
from typing import IO

XMP_PREFIX = b"http://ns.adobe.com/xap/1.0/\0"
MPF_PREFIX = b"MPF\0"
ISO_PREFIX = b"urn:iso:std:iso:ts:21496:-1\0"
# what the metadata of the first picture, or of the map itself, holds
MARKS = (b"http://ns.adobe.com/hdr-gain-map/", b"HDRGainMap", ISO_PREFIX)
ENTRIES_TAG = 0xB002
ENTRY_BYTES = 16
# the metadata of a map lies at its start
LOOKED_AT = 4096
# an index of more pictures is damaged
MOST_PICTURES = 16


def tells_of_gain_map(body: bytes, file: IO[bytes]) -> bool:
    """Return whether an APP1 or APP2 segment says that the file holds a gain map.

    Parameters
    ----------
    body : of the segment.
    file : stands right behind the segment, and is left there. It is looked into only where the
        segment is an index of pictures.
    """
    if body.startswith((XMP_PREFIX, ISO_PREFIX)):
        return any(mark in body for mark in MARKS)
    if not body.startswith(MPF_PREFIX):
        return False
    here = file.tell()
    try:
        # places in the index count from behind its prefix
        base = here - len(body) + len(MPF_PREFIX)
        return any(_is_gain_map(file, base + place) for place in _places(body[len(MPF_PREFIX) :]))
    finally:
        file.seek(here)


def _is_gain_map(file: IO[bytes], place: int) -> bool:
    file.seek(place)
    head = file.read(LOOKED_AT)
    return any(mark in head for mark in MARKS)


def _places(index: bytes) -> list[int]:
    """Return where the pictures behind the first begin; nothing of a damaged index."""
    order = "<" if index.startswith(b"II") else ">"
    try:
        (start,) = struct.unpack_from(order + "I", index, 4)
        (count,) = struct.unpack_from(order + "H", index, start)
        for number in range(count):
            tag, _, size, value = struct.unpack_from(order + "HHII", index, start + 2 + 12 * number)
            if tag == ENTRIES_TAG:
                entries = index[value : value + min(size, MOST_PICTURES * ENTRY_BYTES)]
                found = struct.iter_unpack(order + "IIIHH", entries)
                return [entry[2] for entry in found if entry[2] > 0]
    except struct.error:
        pass
    return []
