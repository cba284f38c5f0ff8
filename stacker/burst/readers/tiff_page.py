"""One page of a TIFF file: which forms are read, and how each becomes RGB."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np

from stacker.burst.readers.facts import COPY_AGAIN, refuse_absurd_size
from stacker.errors import FrameError
from stacker.light.curves import LINEAR, Curve
from stacker.light.encoding import PixelArray, Stored

# photometric interpretations (tag 262)
MIN_IS_WHITE, MIN_IS_BLACK, RGB, PALETTE, YCBCR = 0, 1, 2, 3, 6
READ_AS_IS = (MIN_IS_WHITE, MIN_IS_BLACK, RGB, PALETTE, YCBCR)
PHOTOMETRIC_NAMES = {4: "a mask", 5: "CMYK", 8: "Lab", 9: "Lab", 10: "Lab", 32803: "raw"}
SEPARATE_PLANES = 2
CUT_SHORT = "the TIFF is cut short"
CONVERT = "convert it to RGB with 8 or 16 bits"
# rows looked at together, so that no large mask is made
ROWS = 64


def form_of(page: Any) -> tuple[object, ...]:
    """Return what frames of one file must have in common."""
    return (page.shaped, str(page.dtype), page.photometric, page.bitspersample)


def has_alpha(page: Any) -> bool:
    """Whether the page has samples beyond its colours."""
    return _channels(page) not in (1, 3)


def is_gray(page: Any) -> bool:
    """Whether the page has no colours."""
    return page.photometric in (None, MIN_IS_WHITE, MIN_IS_BLACK)


def _channels(page: Any) -> int:
    return int(page.samplesperpixel)


def stored_form(page: Any) -> Stored:
    """Return how its pixels are handed out."""
    if page.dtype.kind == "f":
        return "float32"
    # the colours of a palette have 16 bits, whatever its indices have
    if page.photometric == PALETTE or page.dtype.itemsize == 2:
        return "uint16"
    return "uint8"


def check_form(path: Path, page: Any) -> None:
    """Refuse a page whose numbers cannot be understood, before its pixels are touched.

    Raises
    ------
    FrameError
        Too large, not RGB or gray, or of a number type that is not read.
    """
    width, height = int(page.imagewidth), int(page.imagelength)
    depth = int(page.imagedepth)
    refuse_absurd_size(path, "the TIFF", (width, height * depth))
    photometric = int(page.photometric) if page.photometric is not None else MIN_IS_BLACK
    kind, why = str(page.dtype), ""
    if photometric not in READ_AS_IS:
        why = f"the TIFF is {PHOTOMETRIC_NAMES.get(photometric, 'of an unknown colour model')}"
    elif page.dtype is None or depth != 1:
        why = "the TIFF is of an unknown type"
    elif kind == "bool" or page.bitspersample < 8:
        why = f"the TIFF has only {page.bitspersample} bit per sample"
    elif kind not in ("uint8", "uint16", "float16", "float32"):
        why = f"the TIFF holds {kind} numbers"
    elif _channels(page) > 5 or (photometric in (RGB, YCBCR) and _channels(page) < 3):
        why = f"the TIFF has {_channels(page)} channels"
    if why:
        raise FrameError(path, why, remedy=CONVERT, code="frame-unsupported")


def check_segments(path: Path, page: Any, file_size: int) -> None:
    """Refuse a page of which strips or tiles are missing or lie beyond the file's end.

    Raises
    ------
    FrameError
        With code "frame-truncated".
    """
    offsets, counts = page.dataoffsets, page.databytecounts
    expected = int(np.prod(page.chunked))
    # an uncompressed page in one piece may have been merged into one segment
    missing = len(offsets) != expected and not page.is_contiguous
    missing = missing or not offsets or len(offsets) != len(counts)
    segments = list(zip(offsets, counts, strict=False))
    missing = missing or any(size <= 0 or place <= 0 for place, size in segments)
    beyond = any(place + size > file_size for place, size in segments)
    if page.is_contiguous and offsets:
        beyond = beyond or offsets[0] + int(page.nbytes) > file_size
    if missing or beyond:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")


def page_pixels(path: Path, page: Any, curve: Curve | None, out: PixelArray | None) -> PixelArray:
    """Return a page as RGB, uint8, uint16 or float32 (H, W, 3), C-contiguous.

    Parameters
    ----------
    curve : the transfer function of an embedded profile, for float numbers that are not light.
    out : filled and returned where the page allows it.

    Raises
    ------
    FrameError
        Float numbers that are no light: NaN, infinite or negative.
    """
    straight = (
        out is not None
        and page.photometric in (RGB, YCBCR)
        and _channels(page) == 3
        and int(page.planarconfig) != SEPARATE_PLANES
        and page.bitspersample == 8 * page.dtype.itemsize
        and out.dtype == page.dtype
    )
    # a view: the library gives the array that it fills another shape
    target = out.view() if straight and out is not None else None
    raw = page.asarray(out=target, maxworkers=1, squeeze=False)
    # (separate planes, depth, rows, columns, samples)
    planes = raw[:, 0]
    if planes.shape[0] > 1:
        pixels = np.stack([planes[place, ..., 0] for place in range(min(3, len(planes)))], -1)
    else:
        pixels = planes[0]
    if page.photometric == PALETTE:
        return _from_palette(page, pixels[..., 0])
    if page.dtype.kind == "f":
        return _light(path, _rgb(pixels), curve)
    pixels = _full_range(pixels, int(page.bitspersample), 8 * page.dtype.itemsize)
    if page.photometric == MIN_IS_WHITE:
        pixels = np.invert(pixels)
    return _rgb(pixels)


def _from_palette(page: Any, indices: PixelArray) -> PixelArray:
    """Return the colours of a palette, uint16 (H, W, 3)."""
    table = np.asarray(page.colormap, np.uint16)
    return np.ascontiguousarray(table.T[indices])


def _full_range(pixels: PixelArray, bits: int, room: int) -> PixelArray:
    """Return codes of ``bits`` bits spread over ``room`` bits, rounded: the top stays the top."""
    if bits == room:
        return pixels
    top, wide = (1 << bits) - 1, (1 << room) - 1
    codes = np.arange(1 << room, dtype=np.int64).clip(0, top)
    table = ((codes * wide + top // 2) // top).astype(pixels.dtype)
    return np.asarray(table[pixels])


def _rgb(pixels: PixelArray) -> PixelArray:
    """Return three channels, in the machine's byte order."""
    pixels = np.ascontiguousarray(pixels, dtype=pixels.dtype.newbyteorder("="))
    channels = pixels.shape[2]
    if channels == 3:
        return pixels
    if channels < 3:
        return np.ascontiguousarray(np.repeat(pixels[..., :1], 3, axis=2))
    if channels == 4 and pixels.dtype != np.float16:
        return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGBA2RGB))
    return np.ascontiguousarray(pixels[..., :3])


def _light(path: Path, pixels: PixelArray, curve: Curve | None) -> PixelArray:
    """Return float32 linear light, after a look at every number."""
    light = pixels.astype(np.float32, copy=False)
    unsound = below = 0
    for top in range(0, len(light), ROWS):
        rows = light[top : top + ROWS]
        if not np.isfinite(rows).all():
            unsound += int((~np.isfinite(rows)).sum())
        below += int((rows < 0).sum())
    if unsound or below:
        words = [
            f"{unsound} NaN or infinite" if unsound else "",
            f"{below} negative" if below else "",
        ]
        why = f"the TIFF holds {' and '.join(filter(None, words))} numbers, which are no light"
        raise FrameError(path, why, remedy="write it again without them", code="frame-bad-values")
    if curve is None or curve == LINEAR:
        return light
    for top in range(0, len(light), ROWS):
        light[top : top + ROWS] = curve.to_light(light[top : top + ROWS])
    return light
