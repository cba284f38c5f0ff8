"""PNG: 16-bit RGB, written from top to bottom, with profile, Exif and description.

Source: Portable Network Graphics (PNG) Specification, third edition (W3C, 2025), clauses 9
(filters), 10 (compression) and 11 (chunks).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from stacker.finish.exif import ExifTags, exif_block
from stacker.finish.metadata import Metadata
from stacker.finish.place import OutputFile
from stacker.light.encoding import Uint16Array
from stacker.light.space import ColourSpace

SIGNATURE = b"\x89PNG\r\n\x1a\n"
BIT_DEPTH, TRUE_COLOUR = 16, 2
PIXEL_BYTES = 6
FILTER_SUB = 1
# beyond entropy coding compression gains little on the noise of photographs
LEVEL, STRATEGY = 1, zlib.Z_RLE
# bytes gathered for one chunk of pixels, so that bands leave no trace in the file
DATA_BYTES = 1 << 18
NAME_MAX = 79


def write_png(
    file: OutputFile,
    bands: Iterator[Uint16Array],
    *,
    size: tuple[int, int],
    space: ColourSpace,
    tags: ExifTags,
    metadata: Metadata,
) -> None:
    """Write a PNG, band by band as they come.

    Parameters
    ----------
    bands : uint16 (h, W, 3) codes from top to bottom, together as high as the picture.
    size : (width, height) in pixels.
    space : the colour space of the codes; its profile is embedded.
    tags : the Exif directories.
    metadata : description and software, which are also written as text.
    """
    file.write(SIGNATURE)
    file.write(_chunk(b"IHDR", struct.pack(">2I5B", *size, BIT_DEPTH, TRUE_COLOUR, 0, 0, 0)))
    file.write(_chunk(b"iCCP", _profile(space)))
    file.write(_chunk(b"eXIf", exif_block(tags)))
    for keyword, text in (("Description", metadata.description), ("Software", metadata.software)):
        if text:
            file.write(_chunk(b"iTXt", _text(keyword, text)))
    for data in _compressed(bands):
        file.write(_chunk(b"IDAT", data))
    file.write(_chunk(b"IEND", b""))


def _chunk(name: bytes, data: bytes) -> bytes:
    check = zlib.crc32(data, zlib.crc32(name))
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", check)


def _profile(space: ColourSpace) -> bytes:
    """Return the profile's chunk: its name in Latin-1, as the standard limits it, and its bytes."""
    plain = space.name.encode("latin-1", "replace").decode("latin-1")
    printable = "".join(c for c in plain if " " <= c <= "~" or c > "\xa0")
    name = " ".join(printable.split())[:NAME_MAX].strip() or "profile"
    return name.encode("latin-1") + b"\0\0" + zlib.compress(space.icc)


def _text(keyword: str, text: str) -> bytes:
    """Return the text's chunk in UTF-8, not compressed, without language or translation."""
    plain = text.replace("\0", " ").encode("utf-8", "replace")
    return keyword.encode("ascii") + b"\0\0\0\0\0" + plain


def _compressed(bands: Iterator[Uint16Array]) -> Iterator[bytes]:
    """Yield the compressed pixels in parts of one size, whatever the heights of the bands."""
    packer = zlib.compressobj(LEVEL, zlib.DEFLATED, zlib.MAX_WBITS, 9, STRATEGY)
    waiting = bytearray()
    for band in bands:
        for row in _filtered(band):
            waiting += packer.compress(row)
            while len(waiting) >= DATA_BYTES:
                yield bytes(waiting[:DATA_BYTES])
                del waiting[:DATA_BYTES]
    waiting += packer.flush()
    yield bytes(waiting)


def _filtered(band: Uint16Array) -> npt.NDArray[np.uint8]:
    """Return the rows in the order of the file: a filter number, then differences to the left."""
    rows = band.shape[0]
    stored = band.astype(">u2").reshape(rows, -1).view(np.uint8)
    out = np.empty((rows, stored.shape[1] + 1), np.uint8)
    out[:, 0] = FILTER_SUB
    out[:, 1 : PIXEL_BYTES + 1] = stored[:, :PIXEL_BYTES]
    np.subtract(stored[:, PIXEL_BYTES:], stored[:, :-PIXEL_BYTES], out=out[:, PIXEL_BYTES + 1 :])
    return out
