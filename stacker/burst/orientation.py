"""Turning pixels and sizes upright, the only place where it is done.

Source: CIPA DC-008 (Exif 3.0), tag 274 Orientation: where row 0 and column 0 of the stored
picture lie when it is seen upright.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np

from stacker.light.encoding import PixelArray

UPRIGHT = 1
# orientation: (transposed first, then the flip code of cv2.flip or None)
_STEPS: dict[int, tuple[bool, int | None]] = {
    1: (False, None),
    2: (False, 1),
    3: (False, -1),
    4: (False, 0),
    5: (True, None),
    6: (True, 1),
    7: (True, -1),
    8: (True, 0),
}


def turned_size(size: tuple[int, int], orientation: int) -> tuple[int, int]:
    """Return (width, height) in pixels after turning upright."""
    width, height = size
    return (height, width) if _STEPS[orientation][0] else (width, height)


def turn_upright(
    pixels: PixelArray, orientation: int, *, out: PixelArray | None = None
) -> PixelArray:
    """Return the upright picture (H, W, 3), C-contiguous, of the same dtype.

    Parameters
    ----------
    pixels : (h, w, 3) as stored; not changed. Orientation 1 gives the same array back.
    orientation : 1 to 8 as Exif counts them.
    out : an array of the upright shape to fill, which must not overlap ``pixels``.

    Raises
    ------
    KeyError
        The orientation is not 1 to 8.
    """
    transposed, flip = _STEPS[orientation]
    if orientation == UPRIGHT:
        return np.ascontiguousarray(pixels)
    target: Any = out
    if not transposed:
        assert flip is not None
        return np.asarray(cv2.flip(pixels, flip, dst=target))
    if flip == 1:
        return np.asarray(cv2.rotate(pixels, cv2.ROTATE_90_CLOCKWISE, dst=target))
    if flip == 0:
        return np.asarray(cv2.rotate(pixels, cv2.ROTATE_90_COUNTERCLOCKWISE, dst=target))
    if flip is None:
        return np.asarray(cv2.transpose(pixels, dst=target))
    return np.asarray(cv2.flip(cv2.transpose(pixels), flip, dst=target))
