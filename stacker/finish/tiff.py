"""TIFF: uncompressed RGB, 16-bit codes or float32 light, written from top to bottom.

Everything but the pixels lies behind them, and as their size is known beforehand the file is
written in one go, without going back and without holding more than a band. That, and Exif and
GPS directories inside the file, is why it is laid out here.

Sources: TIFF 6.0 (1992), sections 2, 6 and 19 (SampleFormat); TIFF Technical Note "BigTIFF";
ICC.1:2022 annex B.4 (profile in tag 34675); Exif 2.32, clause 4.6.3 (tags 34665 and 34853).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.finish.exif import ExifTags, pack_tags
from stacker.finish.ifd import (
    UNDEFINED,
    Directory,
    Field,
    long8_field,
    long_field,
    short_field,
)
from stacker.finish.place import OutputFile

IMAGE_WIDTH, IMAGE_LENGTH, BITS_PER_SAMPLE, COMPRESSION = 256, 257, 258, 259
PHOTOMETRIC, STRIP_OFFSETS, SAMPLES_PER_PIXEL, ROWS_PER_STRIP = 262, 273, 277, 278
STRIP_BYTE_COUNTS, PLANAR_CONFIGURATION, SAMPLE_FORMAT, PROFILE = 279, 284, 339, 34675
UNCOMPRESSED, RGB, INTERLEAVED = 1, 2, 1
WHOLE_NUMBERS, FLOATS = 1, 3
CHANNELS = 3
# large enough that few strips are needed, small enough to read a picture by parts
STRIP_BYTES = 1 << 20
# pixels begin here in either layout: behind the header of 8 or 16 bytes
PIXELS_AT = 16
# below 4 GB by enough room for everything behind the pixels
CLASSIC_BYTES_MAX = 2**32 - 2**26


def write_tiff(
    file: OutputFile,
    bands: Iterator[npt.NDArray[Any]],
    *,
    size: tuple[int, int],
    depth: int,
    icc: bytes,
    tags: ExifTags,
) -> None:
    """Write a TIFF, band by band as they come; files of more than 4 GB become BigTIFF.

    Parameters
    ----------
    bands : uint16 (h, W, 3) codes for a depth of 16, float32 light for 32; from top to bottom,
        together as high as the picture.
    size : (width, height) in pixels.
    icc : the profile of the numbers.
    tags : what the file says about the picture.
    """
    width, height = size
    pixel_bytes = width * height * CHANNELS * depth // 8
    big = pixel_bytes > CLASSIC_BYTES_MAX
    behind = PIXELS_AT + pixel_bytes
    header = struct.pack("<2sHHHQ", b"II", 43, 8, 0, behind) if big else b""
    file.write(header or struct.pack("<2sHI8x", b"II", 42, behind))
    stored = np.dtype("<u2" if depth == 16 else "<f4")
    for band in bands:
        file.write(np.ascontiguousarray(band, stored))
    fields = {**tags.main, **_picture_fields(size, depth, icc, big=big)}
    file.write(pack_tags(replace(tags, main=fields), behind, big=big))


def _picture_fields(size: tuple[int, int], depth: int, icc: bytes, *, big: bool) -> Directory:
    """Return the fields without which the pixels cannot be read."""
    width, height = size
    row_bytes = width * CHANNELS * depth // 8
    rows = min(height, max(1, STRIP_BYTES // row_bytes))
    tops = range(0, height, rows)
    offsets = [PIXELS_AT + top * row_bytes for top in tops]
    counts = [min(rows, height - top) * row_bytes for top in tops]
    place_field = long8_field if big else long_field
    kind = WHOLE_NUMBERS if depth == 16 else FLOATS
    return {
        IMAGE_WIDTH: long_field(width),
        IMAGE_LENGTH: long_field(height),
        BITS_PER_SAMPLE: short_field(*[depth] * CHANNELS),
        COMPRESSION: short_field(UNCOMPRESSED),
        PHOTOMETRIC: short_field(RGB),
        STRIP_OFFSETS: place_field(*offsets),
        SAMPLES_PER_PIXEL: short_field(CHANNELS),
        ROWS_PER_STRIP: long_field(rows),
        STRIP_BYTE_COUNTS: place_field(*counts),
        PLANAR_CONFIGURATION: short_field(INTERLEAVED),
        SAMPLE_FORMAT: short_field(*[kind] * CHANNELS),
        PROFILE: Field(UNDEFINED, icc),
    }
