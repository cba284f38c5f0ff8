"""Figures about single frames for whoever draws them."""

from __future__ import annotations

import numpy as np

from stacker.burst import Burst
from stacker.engine.holding import Holding
from stacker.light.encoding import PixelArray, decode
from stacker.light.luminance import luminance


def frame_light(burst: Burst, pixels: PixelArray) -> float:
    """Return the mean luminance of a frame's pixels in the burst's encoding, 0 to 1."""
    return float(
        luminance(decode(pixels, burst.encoding), burst.encoding.space.luminance_weights).mean()
    )


def moved_px(holding: Holding, place: int, factor: int) -> float:
    """Return how far a frame's middle lies from the reference's, in pixels of the full size.

    Parameters
    ----------
    factor : by which the frames were reduced that ``holding`` is about.
    """
    motion = holding.frames.get(place)
    if motion is None:
        return 0.0
    height, width = holding.region.rows.stop, holding.region.columns.stop
    x, y, depth = motion.to_reference @ (width / 2, height / 2, 1.0)
    return round(factor * float(np.hypot(x / depth - width / 2, y / depth - height / 2)), 2)
