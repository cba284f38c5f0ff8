"""Directories of tagged fields, as TIFF and Exif keep them: read from bytes, laid out as bytes.

Fields keep the type they were stored with, and their data are held in little-endian order, so
that what is carried from one file to another stays as it was.

Sources: TIFF 6.0 (1992), section 2; BigTIFF as the 64-bit layout of the same; Exif 2.32
(CIPA DC-008-2019), clause 4.6.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

BYTE, ASCII, SHORT, LONG, RATIONAL, UNDEFINED, LONG8 = 1, 2, 3, 4, 5, 7, 16
# bytes of one value, and of the number that has a byte order in it
VALUE_SIZE = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 16: 8}
NUMBER_SIZE = {**VALUE_SIZE, 5: 4, 10: 4}
# the greatest number in a LONG or in one half of a RATIONAL
LONG_MAX = 2**32 - 1


class BrokenDirectoryError(ValueError):
    """The bytes hold no directory that can be read; the text says why."""


@dataclass(frozen=True)
class Field:
    """The values of one tag: the number of their type, and their bytes in little-endian order."""

    kind: int
    data: bytes

    @property
    def count(self) -> int:
        """How many values the field has."""
        return len(self.data) // VALUE_SIZE[self.kind]


Directory = Mapping[int, Field]


def text_field(text: str) -> Field:
    """Return a field of ASCII text; anything beyond ASCII is escaped as JSON does (``\\u00e9``).

    Zeros, which would end the text, become spaces.
    """
    escaped = "".join(c if c < "\x80" else _escape(c) for c in text.replace("\0", " "))
    return Field(ASCII, escaped.encode("ascii") + b"\0")


def _escape(character: str) -> str:
    units = character.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[n : n + 2].hex()}" for n in range(0, len(units), 2))


def short_field(*values: int) -> Field:
    """Return a field of 16-bit whole numbers."""
    return Field(SHORT, struct.pack(f"<{len(values)}H", *values))


def long_field(*values: int) -> Field:
    """Return a field of 32-bit whole numbers."""
    return Field(LONG, struct.pack(f"<{len(values)}I", *values))


def long8_field(*values: int) -> Field:
    """Return a field of 64-bit whole numbers, for files beyond 4 GB."""
    return Field(LONG8, struct.pack(f"<{len(values)}Q", *values))


def rational_field(value: float) -> Field:
    """Return a field with one fraction, the one nearest to a number from 0 to 2^32 - 1."""
    exact = Fraction(value)
    for limit in (1_000_000, 1_000, 1):
        near = exact.limit_denominator(limit)
        if near.numerator <= LONG_MAX:
            return Field(RATIONAL, struct.pack("<2I", near.numerator, near.denominator))
    raise ValueError(f"{value} does not fit a fraction of 32-bit numbers")


def read_directory(block: bytes, offset: int, order: str) -> tuple[dict[int, Field], list[int]]:
    """Return the fields of the directory at ``offset``, and the tags that cannot be read.

    Parameters
    ----------
    block : the bytes that offsets are counted in, beginning with the TIFF header.
    order : ``"<"`` or ``">"``, the byte order of the block.

    Raises
    ------
    BrokenDirectoryError
        The directory does not lie wholly inside the block.
    """
    try:
        (count,) = struct.unpack_from(order + "H", block, offset)
        entries = [
            struct.unpack_from(order + "HHI4s", block, offset + 2 + 12 * n) for n in range(count)
        ]
    except struct.error as error:
        raise BrokenDirectoryError("a directory runs beyond the end") from error
    fields: dict[int, Field] = {}
    unreadable = []
    for tag, kind, number, inline in entries:
        field = _read_field(block, order, kind, number, inline)
        if field is None:
            unreadable.append(tag)
        else:
            fields[tag] = field
    return fields, unreadable


def _read_field(block: bytes, order: str, kind: int, count: int, inline: bytes) -> Field | None:
    if kind not in VALUE_SIZE or kind == LONG8:
        return None
    size = VALUE_SIZE[kind] * count
    data = inline[:size]
    if size > len(inline):
        (start,) = struct.unpack(order + "I", inline)
        data = block[start : start + size]
    if len(data) < size:
        return None
    return Field(kind, data if order == "<" else _swapped(data, NUMBER_SIZE[kind]))


def _swapped(data: bytes, size: int) -> bytes:
    """Return the bytes with those of each number turned round."""
    if size == 1:
        return data
    out = bytearray(len(data))
    for place in range(size):
        out[place::size] = data[size - 1 - place :: size]
    return bytes(out)


def pack_directory(directory: Directory, offset: int, *, big: bool = False) -> bytes:
    """Return the bytes of a directory that will lie at ``offset``, even in number.

    Their length does not depend on ``offset``. No further directory follows.

    Parameters
    ----------
    big : lay it out for BigTIFF, with 64-bit offsets.
    """
    head, entry, place = ("<Q", "<HHQ", "<Q") if big else ("<H", "<HHI", "<I")
    room = struct.calcsize(place)
    start = struct.calcsize(head) + len(directory) * (struct.calcsize(entry) + room) + room
    table, body = struct.pack(head, len(directory)), b""
    for tag in sorted(directory):
        field = directory[tag]
        table += struct.pack(entry, tag, field.kind, field.count)
        if len(field.data) <= room:
            table += field.data.ljust(room, b"\0")
        else:
            table += struct.pack(place, offset + start + len(body))
            body += field.data + b"\0" * (len(field.data) % 2)
    return table + struct.pack(place, 0) + body
