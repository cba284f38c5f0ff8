"""Tag directories as TIFF files and Exif blocks hold them, read value by value.

Only the entries asked about are decoded, so that damage in one of them spoils no other.

Source: TIFF 6.0 (Adobe, 1992), section 2; BigTIFF (AWare Systems, 2007); CIPA DC-008 clause 4.6.
"""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import IO

# bytes of one value, by field type
TYPE_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
TYPE_SIZES |= {16: 8, 17: 8, 18: 8}
_WHOLE = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 13: "I", 16: "Q", 17: "q", 18: "Q"}
_NUMBERS = _WHOLE | {5: "II", 10: "ii", 11: "f", 12: "d"}
_ASCII, _UNDEFINED = 2, 7
# no sound directory holds more entries; a damaged count must not make us read on for ever
MAX_ENTRIES = 4096
# values longer than this are no text, time or orientation
MAX_VALUE_BYTES = 1 << 16
EXIF_PREFIX = b"Exif\0\0"
# plain TIFF, and what some makers write in its place in their raw files
VERSIONS = (42, 0x55, 0x4F52, 0x5352)


@dataclass(frozen=True)
class Entry:
    """One tag: its field type, how many values, and the four or eight bytes beside them."""

    kind: int
    count: int
    inline: bytes


@dataclass(frozen=True)
class TagFile:
    """A file or block of tag directories: byte order "<" or ">", offsets of 4 or 8 bytes."""

    stream: IO[bytes]
    order: str
    big: bool
    first: int

    def directory(self, offset: int, *, whole: bool = False) -> dict[int, Entry]:
        """Return the entries of the directory at a byte offset, by tag number.

        Parameters
        ----------
        whole : whether a directory that is cut short counts as none; else what is left counts.

        Raises
        ------
        struct.error
            No directory lies there.
        """
        self.stream.seek(offset)
        count_form, entry_form = ("Q", "HHQ8s") if self.big else ("H", "HHI4s")
        count_size, entry_size = (8, 20) if self.big else (2, 12)
        (count,) = struct.unpack(self.order + count_form, self.stream.read(count_size))
        if count > MAX_ENTRIES:
            raise struct.error("no tag directory")
        block = self.stream.read(entry_size * count)
        if whole and len(block) < entry_size * count:
            raise struct.error("a directory cut short")
        found: dict[int, Entry] = {}
        for place in range(len(block) // entry_size):
            tag, kind, values, inline = struct.unpack_from(
                self.order + entry_form, block, entry_size * place
            )
            found.setdefault(tag, Entry(kind, values, inline))
        return found

    def raw(self, entry: Entry) -> bytes:
        """Return the bytes of an entry's values.

        Raises
        ------
        struct.error
            The field type is unknown, or the values lie beyond the end.
        """
        size = TYPE_SIZES.get(entry.kind, 0) * entry.count
        if not size or size > MAX_VALUE_BYTES:
            raise struct.error("a value of unknown type or absurd length")
        if size <= len(entry.inline):
            return entry.inline[:size]
        (offset,) = struct.unpack(self.order + ("Q" if self.big else "I"), entry.inline)
        self.stream.seek(offset)
        data = self.stream.read(size)
        if len(data) < size:
            raise struct.error("a value beyond the end")
        return data

    def whole(self, entries: dict[int, Entry], tag: int) -> int | None:
        """Return the first whole number of a tag, or None where it is absent or damaged."""
        entry = entries.get(tag)
        if entry is None or entry.kind not in _WHOLE:
            return None
        try:
            return int(struct.unpack_from(self.order + _WHOLE[entry.kind], self.raw(entry))[0])
        except (struct.error, OSError, OverflowError):
            return None

    def wholes(self, entries: dict[int, Entry], tag: int) -> tuple[int, ...]:
        """Return all whole numbers of a tag; none where it is absent or damaged."""
        entry = entries.get(tag)
        if entry is None or entry.kind not in _WHOLE:
            return ()
        try:
            return struct.unpack(f"{self.order}{entry.count}{_WHOLE[entry.kind]}", self.raw(entry))
        except (struct.error, OSError, OverflowError):
            return ()

    def next_after(self, offset: int) -> int:
        """Return where the directory behind the one at a byte offset lies; 0 where it is the last.

        Raises
        ------
        struct.error
            No whole directory lies there.
        """
        count_form, entry_size, place_form = ("Q", 20, "Q") if self.big else ("H", 12, "I")
        self.stream.seek(offset)
        size = struct.calcsize(self.order + count_form)
        (count,) = struct.unpack(self.order + count_form, self.stream.read(size))
        self.stream.seek(offset + size + entry_size * count)
        size = struct.calcsize(self.order + place_form)
        return int(struct.unpack(self.order + place_form, self.stream.read(size))[0])

    def number(self, entries: dict[int, Entry], tag: int) -> float | None:
        """Return the first number of a tag, whole or not; None where absent or damaged.

        Exif asks for two whole numbers, one above the other; some programs write a float.
        """
        entry = entries.get(tag)
        form = None if entry is None else _NUMBERS.get(entry.kind)
        if entry is None or form is None:
            return None
        try:
            above, *below = struct.unpack_from(self.order + form, self.raw(entry))
        except (struct.error, OSError, OverflowError):
            return None
        if not below:
            return float(above)
        return above / below[0] if below[0] else None

    def text(self, entries: dict[int, Entry], tag: int) -> str:
        """Return the text of a tag, without trailing blanks; "" where absent or damaged."""
        entry = entries.get(tag)
        if entry is None or entry.kind not in (_ASCII, _UNDEFINED):
            return ""
        try:
            data = self.raw(entry)
        except (struct.error, OSError, OverflowError):
            return ""
        text = data.split(b"\0")[0].decode("utf-8", "replace")
        return "".join(sign for sign in text if sign.isprintable()).strip()


def open_tags(stream: IO[bytes]) -> TagFile:
    """Return the tag file that begins at the stream's start.

    Raises
    ------
    struct.error
        The stream does not begin as a TIFF file or Exif block does.
    """
    stream.seek(0)
    head = stream.read(16)
    order = {b"II": "<", b"MM": ">"}.get(head[:2])
    if order is None:
        raise struct.error("no byte order mark")
    (version,) = struct.unpack_from(order + "H", head, 2)
    if version == 43:
        return TagFile(stream, order, True, struct.unpack_from(order + "Q", head, 8)[0])
    if version not in VERSIONS:
        raise struct.error("no TIFF version number")
    return TagFile(stream, order, False, struct.unpack_from(order + "I", head, 4)[0])


def open_block(block: bytes) -> TagFile:
    """Return the tag file inside a raw Exif block, with or without its "Exif" prefix.

    Raises
    ------
    struct.error
        The block does not begin as an Exif block does.
    """
    return open_tags(io.BytesIO(block.removeprefix(EXIF_PREFIX)))
