"""How smooth water gets: what is left of its texture, how much went by, when it reads as silk."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stacker.survey.smoothness import (
    GreyArray,
    contrast_left,
    find_movement,
    high_passed,
    whole_contrast_left,
)

# below this share of a single frame's contrast water reads as silk
SILK = 0.10
# what is measured below this is as much the noise of the measurement
LEAST_TOLD = 0.02


@dataclass(frozen=True)
class Silk:
    """What was found of a burst's moving texture.

    Parameters
    ----------
    contrast_left : its contrast in the mean of all frames, as a share of one frame's.
    texture_px : one independent length of it, in full-size pixels.
    lengths : how many independent textures passed: 1 / contrast squared.
    silk_frames : how many frames come below ``SILK``, by measurement or, beyond the burst, by the
        law that contrast falls with the root of time.
    """

    contrast_left: float
    texture_px: float
    lengths: float
    silk_frames: float


def find_silk(frames: Sequence[GreyArray], scale: float) -> Silk | None:
    """Return what becomes of moving texture in the mean of frames; None where nothing moves.

    Parameters
    ----------
    frames : four or more, in their order; luminance in linear light, float32 (h, w).
    scale : full-size pixels of one of theirs.
    """
    movement = find_movement(frames)
    if not movement.found:
        return None
    count = len(frames)
    sums = np.cumsum(np.stack(frames), axis=0, dtype=np.float64)
    whole = (sums[-1] / count).astype(np.float32)

    def mean(number: int) -> GreyArray:
        return np.asarray(sums[number - 1] / number, np.float32)

    counts = [n for n in (1, 2, 4, 8, 16, 32, 64, 128) if n < count]
    left = [contrast_left(mean(n), whole, movement, frames=n, of=count) for n in counts]
    half = count // 2
    counts.append(count)
    left.append(whole_contrast_left(mean(half), whole, movement, frames=half, of=count))
    last = max(left[-1], LEAST_TOLD)
    return Silk(left[-1], _texture(frames, whole, movement.moving) * scale, 1 / last**2,
                _silk_frames(counts, left))  # fmt: skip


def _silk_frames(counts: Sequence[int], left: Sequence[float]) -> float:
    """Return at how many frames the contrast comes below silk: between two measured, or beyond."""
    for k, share in enumerate(left):
        if share >= SILK:
            continue
        if k == 0:
            return float(counts[0])
        before = max(left[k - 1], SILK)
        fallen = math.log(before / SILK) / math.log(before / max(share, LEAST_TOLD))
        return float(counts[k - 1] * (counts[k] / counts[k - 1]) ** min(fallen, 1.0))
    return counts[-1] * (left[-1] / SILK) ** 2


def _texture(frames: Sequence[GreyArray], whole: GreyArray, moving: np.ndarray) -> float:
    """Return the independent length of the moving texture, px: the integral of its correlation.

    For a texture whose correlation is a Gaussian, by its variance over that of its slope.
    """
    variance = slope = 0.0
    both = moving[:, 1:] & moving[:, :-1]
    for frame in frames:
        fine = high_passed(frame - whole)
        variance += float(np.square(fine[moving]).mean())
        slope += float(np.square(np.diff(fine, axis=1)[both]).mean())
    return math.sqrt(2 * math.pi * variance / max(slope, 1e-12))
