"""How near one picture comes to another."""

from __future__ import annotations

import math

import numpy as np

from stacker.light.encoding import LightArray
from stacker.light.srgb import linear_to_srgb


def psnr(light: LightArray, truth: LightArray) -> float:
    """Return the peak signal-to-noise ratio in decibels; infinite for equal pictures.

    Parameters
    ----------
    light, truth : float32 (H, W, 3), linear. Both are clipped to [0, 1] and compared as sRGB
        values, in which equal differences look about equal.

    Notes
    -----
    About 30 dB is a difference that can be seen side by side; from about 40 dB on it takes
    flipping between the two.

    Source: ITU-T J.340 (2010), clause 5, with a peak of 1.0.
    """
    if light.shape != truth.shape:
        raise ValueError(f"pictures of shapes {light.shape} and {truth.shape} do not compare")
    difference = linear_to_srgb(np.clip(light, 0, 1)) - linear_to_srgb(np.clip(truth, 0, 1))
    mean_square = float(np.mean(np.square(difference)))
    return math.inf if mean_square == 0 else -10 * math.log10(mean_square)
