"""The outline of the ground before the sky, with masts, roofs and trees, to the pixel.

Source: S. Lankton and A. Tannenbaum, "Localizing Region-Based Active Contours", IEEE Trans. Image
Processing 17 (2008), doi:10.1109/TIP.2008.2004611: a pixel near the line belongs to the side that
looks like it, by the means and variances of both sides close by.
"""

from __future__ import annotations

import cv2
import numpy as np

from stacker.masks.roots import BoolArray, Float32Array

# an edge that stands on the ground is part of it from this many times the noise's on
STANDING = 3.0
# how far from the outline that was found pixels are looked at again: edges are this thick
REACH_PX = 7
# how far around a pixel the means of both sides are taken (standard deviation)
AROUND_PX = 5.0
# variance of the still picture's codes that no window says is less
LEAST_VARIANCE = 0.5
ROUNDS = 8
# a round that changes fewer of the pixels is the last
SETTLED = 1e-5
# what touches a side of the picture and is larger than this is ground, though it hangs there
LEAST_HANGING = 0.005


def standing_on(ground: BoolArray, edges: Float32Array) -> BoolArray:
    """Return the ground with all that stands on it and has edges, bool (h, w)."""
    return whole_ground(ground | (edges > STANDING))


def whole_ground(ground: BoolArray) -> BoolArray:
    """Return the ground as one piece: without specks in the sky, without holes."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        ground.astype(np.uint8), None, connectivity=8
    )
    kept = np.zeros(len(stats), bool)
    kept[labels[-1]] = True
    for label in np.unique(np.concatenate([labels[:, 0], labels[:, -1]])):
        kept[label] |= stats[label, cv2.CC_STAT_AREA] > LEAST_HANGING * ground.size
    kept[0] = False
    _, labels, stats, _ = cv2.connectedComponentsWithStats(
        (~kept[labels]).astype(np.uint8), None, connectivity=4
    )
    if len(stats) < 2:
        return np.ones_like(ground)
    sky = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return np.asarray(labels != sky)


def settled_outline(still: Float32Array, ground: BoolArray) -> BoolArray:
    """Return the ground with each pixel near its outline on the side that looks like it.

    Parameters
    ----------
    still : float32 (h, w, 3), the picture without what passes.
    ground : bool (h, w), rather too much of it.
    """
    kernel = np.ones((2 * REACH_PX + 1,) * 2, np.uint8)
    outline = ground.astype(np.uint8)
    # the band stays: a line that creeps would run off where both sides look alike
    band = cv2.dilate(outline, kernel) > cv2.erode(outline, kernel)
    for _ in range(ROUNDS):
        likes_ground = _unlikeness(still, ~ground) > _unlikeness(still, ground)
        after = whole_ground(np.where(band, likes_ground, ground))
        changed = float((after != ground).mean())
        ground = after
        if changed < SETTLED:
            break
    return ground


def _unlikeness(still: Float32Array, side: BoolArray) -> Float32Array:
    """Return how unlike each pixel is to one side about it, float32 (h, w): twice the negative
    logarithm of a normal density, but for a constant."""
    share = side.astype(np.float32)
    weight = (_around(share) + np.float32(1e-6))[:, :, np.newaxis]
    mean = _around(still * share[:, :, np.newaxis]) / weight
    squares = (still - mean) ** 2
    variance = _around(squares * share[:, :, np.newaxis]) / weight + np.float32(LEAST_VARIANCE)
    return np.asarray((squares / variance + np.log(variance)).sum(axis=2))


def _around(values: Float32Array) -> Float32Array:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), AROUND_PX), np.float32)
