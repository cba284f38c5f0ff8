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
    if step == 1:
        return cv2.GaussianBlur(light, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
    small = cv2.GaussianBlur(
        _reduced(light, step), (0, 0), sigma_px / step, borderType=cv2.BORDER_CONSTANT
    )
    height, width = light.shape[:2]
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)


def _reduced(light: Light, step: int) -> Light:
    """Return ``light`` ``step`` times smaller, each pixel the mean of those it stands for."""
    height, width = light.shape[:2]
    size = (max(1, round(width / step)), max(1, round(height / step)))
    return cv2.resize(light, size, interpolation=cv2.INTER_AREA)


def with_glow(lamps: Light, unit: float, *, strength: float = 1.0) -> Light:
    """Return ``lamps`` (H, W, 3) with their halos added; ``unit`` scales the halos' widths."""
    height, width = lamps.shape[:2]
    step = max(1, int(WIDE[1] * unit / ENOUGH_PX))
    small = _reduced(lamps, step)
    halo = np.float32(WIDE[0]) * wide_blur(small, WIDE[1] * unit / step)
    halo += np.float32(WIDEST[0]) * wide_blur(small, WIDEST[1] * unit / step)
    total = cv2.resize(halo, (width, height), interpolation=cv2.INTER_LINEAR)
    total += np.float32(NARROW[0]) * wide_blur(lamps, NARROW[1] * unit)
    total *= np.float32(strength)
    total += lamps
    return total
