"""By how much a blend lowers the noise of its frames, as arithmetic has it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

# the blends whose result is an average: noise falls with the root of the number of frames
AVERAGES = ("mean", "sum", "trimmed")
EXTREMES = ("lighten", "max", "darken")
# of a normal distribution, in standard deviations: beyond lies one value in 10^15
REACH, STEPS = 8.0, 4001


def expected_noise_gain(
    blend: str, weights: Sequence[float], *, true_floor: bool = False, fading: bool = False
) -> float | None:
    """Return the noise of one frame over that of the result; None where no law is known.

    Parameters
    ----------
    weights : how much each frame counts; those of 0 do not.
    true_floor : whether a lighten is the mean where nothing shines.
    fading : whether its light fades with time.

    Notes
    -----
    Holds for noise that is independent from frame to frame. The mean of N frames has 1 / sqrt(N)
    of it; the median, for many frames, sqrt(pi / 2) more than that. ``max`` takes the brightest
    pixel, which for one channel is about what ``lighten`` does.

    Source: H. David and H. Nagaraja, "Order Statistics", 3rd edition (2003), for extremes and
    medians of normal samples.
    """
    counting = [weight for weight in weights if weight > 0]
    if not counting or fading:
        return None
    effective = sum(counting) ** 2 / sum(weight * weight for weight in counting)
    if blend in AVERAGES or (blend == "lighten" and true_floor):
        return math.sqrt(effective)
    if blend == "median":
        return max(1.0, math.sqrt(2 * len(counting) / math.pi))
    if blend in EXTREMES:
        return 1 / extreme_of_normal(len(counting))[1]
    return None


def extreme_of_normal(count: int) -> tuple[float, float]:
    """Return mean and standard deviation of the greatest of ``count`` values of noise 1."""
    x = np.linspace(-REACH, REACH, STEPS)
    below = np.array([0.5 * math.erfc(-value / math.sqrt(2)) for value in x.tolist()])
    density = np.gradient(below**count, x)
    density /= density.sum()
    mean = float((density * x).sum())
    return mean, float((density * (x - mean) ** 2).sum() ** 0.5)
