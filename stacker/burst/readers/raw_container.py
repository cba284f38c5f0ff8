"""What the container of a raw file says: about the shot, and whether the file is whole.

Most raw files are TIFF inside, whatever their suffix. The others are known by their first bytes.

Sources: TIFF 6.0 (Adobe, 1992); DNG 1.7 (Adobe, 2023).
"""

from __future__ import annotations

import io
import os
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from stacker.burst.exif import ShotFacts, exif_block_of_tiff, read_exif, read_tags
from stacker.burst.ifd import Entry, TagFile, open_tags
from stacker.burst.readers.boxes import boxes_are_whole
from stacker.burst.readers.facts import COPY_AGAIN
from stacker.burst.readers.jpeg_header import read_header
from stacker.errors import FrameError

SUB_IFDS, PHOTOMETRIC = 330, 262
# places and lengths: of strips, of tiles, of a JPEG preview
EXTENTS = ((273, 279), (324, 325), (513, 514))
SENSOR_PHOTOMETRICS = (32803, 34892)
RAF_MARK, RAF_PARTS = b"FUJIFILMCCD", 84
MAX_DIRECTORIES = 64
CUT_SHORT = "the raw file is cut short"


def read_shot(path: Path, file: IO[bytes]) -> tuple[ShotFacts, bytes | None] | None:
    """Return what the container says about the shot, and its Exif block; None where nothing."""
    file.seek(0)
    if file.read(len(RAF_MARK)) == RAF_MARK:
        return _shot_of_preview(path, file)
    try:
        tags = open_tags(file)
    except struct.error:
        return None
    return read_tags(tags), exif_block_of_tiff(tags)


def check_whole(path: Path, file: IO[bytes]) -> None:
    """Refuse a file in which something lies beyond the end.

    Raises
    ------
    FrameError
        With code "frame-truncated".
    """
    size = file.seek(0, os.SEEK_END)
    file.seek(0)
    head = file.read(12)
    try:
        if head.startswith(RAF_MARK):
            whole = all(start + length <= size for start, length in _raf_parts(file))
        elif head[4:8] == b"ftyp":
            whole = boxes_are_whole(file)
        else:
            whole = _tiff_is_whole(file, size)
    except struct.error:
        whole = False
    if not whole:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")


def _shot_of_preview(path: Path, file: IO[bytes]) -> tuple[ShotFacts, bytes | None] | None:
    """Return the Exif of the JPEG that a RAF file begins with."""
    try:
        start, length = _raf_parts(file)[0]
        file.seek(start)
        exif = read_header(path, io.BytesIO(file.read(length))).exif
    except (struct.error, FrameError):
        return None
    return read_exif(exif), exif


def _raf_parts(file: IO[bytes]) -> list[tuple[int, int]]:
    """Return place and length of the preview, the tags and the sensor's numbers."""
    file.seek(RAF_PARTS)
    numbers = struct.unpack(">6I", file.read(24))
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def _tiff_is_whole(file: IO[bytes], size: int) -> bool:
    """Whether all that the directories point to lies within the file.

    Raises
    ------
    struct.error
        A directory is cut short.
    """
    try:
        tags = open_tags(file)
    except struct.error:
        # no TIFF: what the library thinks of it counts
        return True
    return all(_lies_within(tags, directory, size) for directory in _directories(tags))


def _lies_within(tags: TagFile, directory: dict[int, Entry], size: int) -> bool:
    """Whether the picture that a directory describes ends within the file."""
    sensor = tags.whole(directory, PHOTOMETRIC) in SENSOR_PHOTOMETRICS
    for places, lengths in EXTENTS:
        starts, counts = tags.wholes(directory, places), tags.wholes(directory, lengths)
        if sensor and places in directory and not (starts and counts):
            return False
        for start, count in zip(starts, counts, strict=False):
            # some makers fill places that mean nothing with nonsense
            meant = sensor or start < size
            if meant and start + count > size:
                return False
    return True


def _directories(tags: TagFile) -> Iterator[dict[int, Entry]]:
    """Yield the directories of a file, those below others included."""
    waiting, seen = [tags.first], set[int]()
    while waiting and len(seen) < MAX_DIRECTORIES:
        offset = waiting.pop(0)
        if not offset or offset in seen:
            continue
        seen.add(offset)
        directory = tags.directory(offset, whole=True)
        yield directory
        waiting.extend(tags.wholes(directory, SUB_IFDS))
        waiting.append(tags.next_after(offset))
