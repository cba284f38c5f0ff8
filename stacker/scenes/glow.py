"""The glow around lamps: light scattered in the lens and in the damp air of the coast.

Glow is a fixed spread of light, so it is linear: the glow of a long exposure is the mean of the
glows of its parts.
"""

from __future__ import annotations

import cv2
import numpy as np

from stacker.scenes.scene import Light

# Share of a lamp's light and the width of its halo, in pixels of a 960 x 640 picture.
HALOS = ((0.16, 3.0), (0.09, 10.0), (0.07, 34.0))
# A halo this many pixels wide or more is blurred on a smaller picture: nothing fine is left in it.
NARROW_PX = 2.5


def wide_blur(light: Light, sigma_px: float) -> Light:
    """Return ``light`` (H, W, 3) blurred by a Gaussian, wide ones on a reduced picture.

    Light beyond the border is taken to be dark.
    """
    step = max(1, int(sigma_px / NARROW_PX))
    if step == 1:
        return cv2.GaussianBlur(light, (0, 0), sigma_px, borderType=cv2.BORDER_CONSTANT)
    height, width = light.shape[:2]
    small_size = (max(1, round(width / step)), max(1, round(height / step)))
    small = cv2.resize(light, small_size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma_px / step, borderType=cv2.BORDER_CONSTANT)
    return cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)


def with_glow(lamps: Light, unit: float, *, strength: float = 1.0) -> Light:
    """Return ``lamps`` (H, W, 3) with their halos added; ``unit`` scales the halos' widths."""
    total = lamps.copy()
    for share, width in HALOS:
        total += np.float32(strength * share) * wide_blur(lamps, width * unit)
    # Cubic enlargement may undershoot next to a bright lamp; light is never negative.
    return np.maximum(total, 0, out=total)
