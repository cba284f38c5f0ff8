"""What keeps its place in the frame while the picture travels: what the camera followed."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.survey.movers import RootArray

# side of the squares that are judged, pixels of the copies
SQUARE = 8
# change over time against contrast in a single frame: what is followed changes less than this,
# while the background passes by with all its contrast
KEPT = 0.4
# contrast below this tells nothing, root of light: sky and road look alike wherever they are
LEAST_CONTRAST = 0.02
# share of the picture that it takes, at least and at most
SMALLEST, LARGEST = 0.004, 0.5


def what_is_followed(roots: RootArray, scale: float) -> tuple[int, int, int, int] | None:
    """Return x, y, width and height in full-size pixels of what keeps its place; None for nothing.

    Parameters
    ----------
    roots : float32 (M, h, w), root of light of frames as they lie.
    scale : full-size pixels of one of theirs.
    """
    middle = np.median(roots, axis=0)
    change = _squares(np.median(np.abs(roots - middle), axis=0))
    single = roots[len(roots) // 2]
    mean, square = _squares(single), _squares(np.square(single))
    contrast = np.sqrt(np.maximum(square - np.square(mean), 0))
    kept = (contrast > LEAST_CONTRAST) & (change < KEPT * contrast)
    kept_mask = cv2.morphologyEx(kept.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    count, _, stats, _ = cv2.connectedComponentsWithStats(kept_mask, None)
    if count < 2:
        return None
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    if not SMALLEST < stats[best, cv2.CC_STAT_AREA] / kept.size < LARGEST:
        return None
    x, y, width, height = (round(float(value) * SQUARE * scale) for value in stats[best, :4])
    return x, y, width, height


def _squares(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return means over squares."""
    height, width = values.shape[0] // SQUARE, values.shape[1] // SQUARE
    even = np.ascontiguousarray(values[: height * SQUARE, : width * SQUARE], np.float32)
    return np.asarray(cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA), np.float32)
