"""JPEG: 8-bit, dithered, chroma at full size, with profile and Exif.

Sources: ITU-T T.81 (1992), annex B (segments); ICC.1:2022 annex B.4 (profile in APP2);
Exif 2.32, clause 4.7.2 (Exif in APP1).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from stacker.errors import OutputError
from stacker.finish.exif import BLOCK_MARK, ExifTags, exif_block
from stacker.finish.ifd import ASCII, Field
from stacker.finish.metadata import DESCRIPTION, SOFTWARE
from stacker.finish.place import OutputFile

QUALITY = 95
SIDE_MAX = 65535
# a segment's length is 16 bits and counts its own two bytes
SEGMENT_BYTES_MAX = 65533
APP0, APP1, APP2 = 0xE0, 0xE1, 0xE2
START_OF_IMAGE = b"\xff\xd8"
PROFILE_MARK = b"ICC_PROFILE\0"
PROFILE_PARTS_MAX = 255
# two texts of this length leave room for every field of the greatest length that is carried over
# from a frame, but for those of the place
TEXT_BYTES_MAX = 8000


def check_jpeg_size(target: Path, size: tuple[int, int]) -> None:
    """Return if a picture of the size (width, height) can be a JPEG.

    Raises
    ------
    OutputError
        ``output-too-large``.
    """
    if max(size) > SIDE_MAX:
        raise OutputError(
            target,
            f"a JPEG holds {SIDE_MAX} pixels a side, the picture is {size[0]} x {size[1]}",
            remedy="write a .tif",
            code="output-too-large",
        )


def write_jpeg(
    file: OutputFile, codes: npt.NDArray[np.uint8], *, icc: bytes, tags: ExifTags
) -> list[str]:
    """Return warnings as sentences, having written a JPEG of quality 95 without subsampling.

    Parameters
    ----------
    codes : uint8 (H, W, 3), the whole picture.
    icc : the profile of the codes.
    tags : what the file says about the picture; what does not fit a segment is shortened.
    """
    import simplejpeg

    data = memoryview(
        simplejpeg.encode_jpeg(codes, quality=QUALITY, colorspace="RGB", colorsubsampling="444")
    )
    head = _end_of_first_segment(data)
    block, warnings = _fitting_block(tags)
    file.write(data[:head])
    file.write(_segment(APP1, BLOCK_MARK + block))
    parts = list(_profile_parts(icc))
    if len(parts) > PROFILE_PARTS_MAX:
        warnings.append("The colour profile is too large for a JPEG and was left out.")
        parts = []
    for number, part in enumerate(parts, start=1):
        file.write(_segment(APP2, PROFILE_MARK + bytes((number, len(parts))) + part))
    file.write(data[head:])
    return warnings


def _end_of_first_segment(data: memoryview) -> int:
    """Return where further segments may go: behind the encoder's own APP0, or the very start."""
    start = len(START_OF_IMAGE)
    if data[start + 1] != APP0:
        return start
    (length,) = struct.unpack_from(">H", data, start + 2)
    return start + 2 + int(length)


def _segment(marker: int, payload: bytes) -> bytes:
    return struct.pack(">BBH", 0xFF, marker, len(payload) + 2) + payload


def _profile_parts(icc: bytes) -> Iterator[bytes]:
    step = SEGMENT_BYTES_MAX - len(PROFILE_MARK) - 2
    for start in range(0, len(icc), step):
        yield icc[start : start + step]


def _fitting_block(tags: ExifTags) -> tuple[bytes, list[str]]:
    """Return an Exif block that fits one segment, and warnings on what it had to lose."""
    room = SEGMENT_BYTES_MAX - len(BLOCK_MARK)
    block = exif_block(tags)
    if len(block) <= room:
        return block, []
    main = dict(tags.main)
    for tag in (DESCRIPTION, SOFTWARE):
        if tag in main and len(main[tag].data) > TEXT_BYTES_MAX:
            main[tag] = Field(ASCII, main[tag].data[: TEXT_BYTES_MAX - 1] + b"\0")
    block = exif_block(ExifTags(main, tags.exif, tags.gps))
    if len(block) <= room:
        return block, ["The description is too long for a JPEG and was shortened."]
    return exif_block(ExifTags(main, tags.exif, {})), [
        "The Exif is too large for a JPEG; the description was shortened, the place left out."
    ]
