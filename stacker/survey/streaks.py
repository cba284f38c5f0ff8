"""How long the streaks of moving lights are."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from stacker.survey.smoothness import GreyArray, high_passed

# the greatest of thousands of noisy values lies four sigma up
CLEAR_SIGMAS = 6.0
# and in light: what is fainter is no trail to anybody's eye
CLEAR_LIGHT = 0.004
# rows worked on at a time
BLOCK_ROWS = 64


def light_at_rest(frames: Sequence[GreyArray]) -> GreyArray:
    """Return the picture without what moves: the middle value of each pixel, float32 (h, w).

    Of an even number the darker one of the two, so that two frames are enough.
    """
    rest = np.empty_like(frames[0])
    middle = (len(frames) - 1) // 2
    for top in range(0, rest.shape[0], BLOCK_ROWS):
        rows = slice(top, top + BLOCK_ROWS)
        values = np.stack([frame[rows] for frame in frames])
        rest[rows] = np.partition(values, middle, axis=0)[middle]
    return rest


def longest_streak(picture: GreyArray, rest: GreyArray, noise_sigma: GreyArray) -> float:
    """Return the length in pixels of the longest connected streak, from end to end.

    Parameters
    ----------
    picture : the greatest light of each pixel; luminance in linear light, float32 (h, w).
    rest : the same without what moves.
    noise_sigma : a single frame's noise, float32 (h, w).

    Notes
    -----
    The longer side of the narrowest rectangle that holds it: of an arc it is the chord. Pixels
    that touch by a corner are connected; a notch between two frames parts a streak.
    """
    fine = high_passed(picture - rest)
    lit = (
        fine > np.maximum(noise_sigma * np.float32(CLEAR_SIGMAS), np.float32(CLEAR_LIGHT))
    ).astype(np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(lit, connectivity=8)
    longest = 0.0
    for label in range(1, count):
        left, top, width, height = (int(value) for value in stats[label, :4])
        # none is longer than the diagonal of the rectangle that stands upright
        if np.hypot(width, height) <= longest:
            continue
        part = labels[top : top + height, left : left + width] == label
        y, x = np.nonzero(part)
        _, sides, _ = cv2.minAreaRect(np.column_stack((x, y)).astype(np.float32))
        # pixels have a size: from the edge of the first to the edge of the last
        longest = max(longest, max(sides) + 1.0)
    return longest
