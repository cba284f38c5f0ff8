"""Which point of one list lies next to which of another; and points that never move."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray

# how near a point must come back in other frames to be one that stands still, px: faint hot
# pixels and lamps scatter by a tenth
STILL_PX = 0.35
# share of the first and of the last frames that must show it there; a star passes through
STILL_SHARE = 0.3
# frames looked at, spread over the burst
LOOKED_AT = 24


def nearest(points: Float64Array, others: Float64Array) -> tuple[IntArray, Float64Array]:
    """Return for each of ``points`` (N, 2) the number of the nearest of ``others`` (M, 2), and
    how far it is in px; far away, where there are no others."""
    if len(points) == 0 or len(others) == 0:
        return np.zeros(len(points), np.intp), np.full(len(points), np.inf)
    distance, number = cv2.batchDistance(
        points.astype(np.float32), others.astype(np.float32), cv2.CV_32F, K=1,
        normType=cv2.NORM_L2,
    )  # fmt: skip
    return number[:, 0].astype(np.intp), distance[:, 0].astype(np.float64)


def pairs_within(
    points: Float64Array, others: Float64Array, reach_px: float
) -> tuple[IntArray, IntArray]:
    """Return numbers of points that are each other's nearest and not farther than ``reach_px``."""
    there, distance = nearest(points, others)
    back, _ = nearest(others, points)
    if len(others) == 0:
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    mutual = (distance <= reach_px) & (back[there] == np.arange(len(points)))
    found = np.flatnonzero(mutual)
    return found, there[found]


def standing_still(places: Sequence[Float64Array]) -> list[BoolArray]:
    """Return for each frame's points (N, 2) whether they stand still over the burst.

    Hot pixels and lamps come back at the same place in the first and in the last part of the
    burst, which no star does but those next to the pole, who tell little of the motion. A burst
    in which nothing moves at all is wholly still.
    """
    count = len(places)
    third = max(1, count // 3)
    step = max(1, third // (LOOKED_AT // 2))
    early, late = range(0, third, step), range(count - 1, count - 1 - third, -step)
    if count < 2:
        return [np.zeros(len(points), bool) for points in places]

    def share(points: Float64Array, frames: range) -> Float64Array:
        hits = np.zeros(len(points))
        for number in frames:
            hits += nearest(points, places[number])[1] <= STILL_PX
        return hits / len(frames)

    return [
        (share(points, early) >= STILL_SHARE) & (share(points, late) >= STILL_SHARE)
        for points in places
    ]
