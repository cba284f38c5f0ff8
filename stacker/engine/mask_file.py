"""Masks from pictures: gray, of the frames' size."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from stacker.blend.mixing import WHOLE, MaskArray
from stacker.engine.region import NAMED_MASKS, Region
from stacker.errors import OptionError

# Channels of a gray picture differ by no more than a lossy file's rounding, of 255.
ROUNDING = 3
# white, by the kind of the numbers
TOPS = {"uint8": 255, "uint16": 65535}


def read_mask(region: Region, size: tuple[int, int]) -> MaskArray:
    """Return the mask that a region names, uint16 (H, W): codes as they are, white at the top.

    Parameters
    ----------
    size : (width, height) of the frames, which the mask must have.

    Raises
    ------
    OptionError
        There is no such picture, or it is no mask for these frames.
    """
    path = Path(region.mask)
    if not path.is_file():
        raise OptionError(
            region.option,
            "there is no such file",
            remedy=f"name a gray picture, or one of {', '.join(NAMED_MASKS)}, which are found",
            code="region-mask",
        )
    gray = _gray(region, path)
    height, width = gray.shape
    if (width, height) != size:
        raise OptionError(
            region.option,
            f"the mask is {width} x {height} pixels, the frames are {size[0]} x {size[1]}",
            remedy="make it of a frame's size, or change one that --save-masks wrote",
            code="region-mask-size",
        )
    if not gray.any():
        raise OptionError(
            region.option,
            "the mask is black everywhere, so the region would be empty",
            remedy="paint white what the region is",
            code="region-mask-empty",
        )
    return gray


def _gray(region: Region, path: Path) -> MaskArray:
    """Return a picture's one channel, uint16 (H, W)."""
    import cv2

    data = np.fromfile(path, np.uint8)
    # a name in any letters: OpenCV takes some systems' names for Latin ones
    found = cv2.imdecode(data, cv2.IMREAD_UNCHANGED) if len(data) else None
    if found is None:
        raise _no_mask(region, "cannot be read as a picture")
    pixels = np.asarray(found)
    top = TOPS.get(pixels.dtype.name)
    if top is None:
        raise _no_mask(region, f"holds {pixels.dtype} values, which say no shade of gray")
    if pixels.ndim == 3:
        # many programs save gray as three equal channels, with one for transparency
        colours = pixels[:, :, :3] if pixels.shape[2] >= 3 else pixels[:, :, :1]
        apart = np.ptp(colours, axis=2).max()
        if apart > ROUNDING * (top // 255):
            raise _no_mask(region, "is a picture in colours")
        pixels = colours[:, :, 0]
    return np.ascontiguousarray(pixels.astype(np.uint16) * np.uint16(WHOLE // top))


def _no_mask(region: Region, why: str) -> OptionError:
    return OptionError(
        region.option,
        why,
        remedy="save it as a gray PNG or TIFF of 8 or 16 bits",
        code="region-mask-kind",
    )
