"""The glow around lamps: light scattered in the lens and in the damp air of the coast.

Glow is a fixed spread of light, so it is linear: the glow of a long exposure is the mean of the
glows of its parts.
"""

from __future__ import annotations

import cv2
import numpy as np

from stacker.scenes.scene import Light

# Share of a lamp's light and the width of its halo, in pixels of a 960 x 640 picture.
NARROW = (0.16, 3.0)
WIDE = (0.09, 10.0)
WIDEST = (0.07, 34.0)
# Halos are blurred on a picture so small that they are this many of its pixels wide: nothing
# finer is left in them.
ENOUGH_PX = 2.5


def wide_blur(light: Light, sigma_px: float) -> Light:
    """Return ``light`` (H, W, 3) blurred by a Gaussian, wide ones on a reduced picture.

    Light beyond the border is taken to be dark.
    """
    step = max(1, int(sigma_px / ENOUGH_PX))
    small = _reduced(light, step) if step > 1 else light
    blurred = cv2.GaussianBlur(small, (0, 0), sigma_px / step, borderType=cv2.BORDER_CONSTANT)
    return enlarged(np.asarray(blurred, np.float32), light.shape[1], light.shape[0])


def _reduced(light: Light, step: int) -> Light:
    """Return ``light`` ``step`` times smaller, each pixel the mean of those it stands for."""
    height, width = light.shape[:2]
    size = (max(1, round(width / step)), max(1, round(height / step)))
    return np.asarray(cv2.resize(light, size, interpolation=cv2.INTER_AREA), np.float32)


def enlarged(light: Light, width: int, height: int) -> Light:
    """Return ``light`` brought to a size in pixels, bilinear: it never falls below zero."""
    if light.shape[:2] == (height, width):
        return light
    large = cv2.resize(light, (width, height), interpolation=cv2.INTER_LINEAR)
    return np.asarray(large, np.float32)


def with_glow(lamps: Light, unit: float, *, strength: float = 1.0) -> Light:
    """Return ``lamps`` (H, W, 3) with their halos added; ``unit`` scales the halos' widths."""
    step = max(1, int(WIDE[1] * unit / ENOUGH_PX))
    small = _reduced(lamps, step)
    halo = np.float32(WIDE[0]) * wide_blur(small, WIDE[1] * unit / step)
    halo += np.float32(WIDEST[0]) * wide_blur(small, WIDEST[1] * unit / step)
    total = np.float32(NARROW[0]) * wide_blur(lamps, NARROW[1] * unit)
    total += enlarged(halo, lamps.shape[1], lamps.shape[0])
    total *= np.float32(strength)
    total += lamps
    return total
