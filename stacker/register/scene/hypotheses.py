"""Cheap guesses of where a frame looked, to be judged by agreement.

Each can be wrong, and says nothing of it: correlation follows a river, corners follow walkers.
"""

from __future__ import annotations

from typing import Any, cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, apply, compose, to_full, translation
from stacker.register.scene.grey import Grey, GreyArray

# detail finer than this, in pixels of the coarsest level, is correlated; soft light is not
HIGH_PASS_PX = 6.0
CORNERS = 400
CORNER_QUALITY = 0.005
# a corner that does not come back to where it started, in pixels, was lost
BACK_AGAIN_PX = 0.7
# a similarity through corners within so many pixels of it
CONSENSUS_PX = 2.0
LEAST_CORNERS = 8
# the patch about a corner that is tracked
TRACKED_PX = (15, 15)
FEATURES = 1200
# a feature's nearest match must be that much nearer than the next
DISTINCT = 0.8

# No hand turns further between two frames of a burst, nor steps nearer by more; a building
# mirrored in water does.
MOST_TURN_DEG = 30.0
MOST_STRETCH = 1.5

Corners = npt.NDArray[np.float32]
Bytes = npt.NDArray[np.uint8]


def by_correlation(reference: Grey, frame: Grey) -> Motion:
    """Return the shift at which fine detail correlates best, reference to frame.

    Source: C. D. Kuglin and D. C. Hines, "The phase correlation image alignment method", IEEE
    Conference on Cybernetics and Society (1975).
    """
    level = len(reference.levels) - 1
    one, other = (_detail(grey.levels[level]) for grey in (reference, frame))
    window = cv2.createHanningWindow((one.shape[1], one.shape[0]), cv2.CV_32F)
    (dx, dy), _ = cv2.phaseCorrelate(one, other, window)
    return to_full(translation(dx, dy), 2**level)


def _detail(grey: GreyArray) -> GreyArray:
    soft = cv2.GaussianBlur(grey, (0, 0), HIGH_PASS_PX, borderType=cv2.BORDER_REPLICATE)
    detail = grey - soft
    # no single lamp should outshine the rest
    limit = 3 * float(detail.std()) + 1e-9
    return np.asarray(np.clip(detail, -limit, limit, out=detail), np.float32)


def find_corners(grey: Grey) -> Corners:
    """Return corners spread over the picture, float32 (N, 1, 2), pixels of ``tracking_level``."""
    picture = as_bytes(grey)
    apart = max(4.0, np.sqrt(picture.size / CORNERS) * 0.5)
    found = cv2.goodFeaturesToTrack(picture, CORNERS, CORNER_QUALITY, apart)
    return np.zeros((0, 1, 2), np.float32) if found is None else np.asarray(found, np.float32)


def tracking_level(grey: Grey) -> int:
    """Return the level that corners are tracked on: half the size where there is one."""
    return min(1, len(grey.levels) - 1)


def as_bytes(grey: Grey) -> Bytes:
    """Return the level for tracking as 8 bits, stretched over the light that there is."""
    level = grey.levels[tracking_level(grey)]
    low, high = np.percentile(level[::4, ::4], (1, 99))
    scale = 235 / max(float(high - low), 1e-3)
    return np.asarray(
        cv2.convertScaleAbs(np.maximum(level - low, 0), alpha=scale, beta=10), np.uint8
    )


def by_corners(
    corners: Corners, start: Grey, frame: Grey, guess: Motion, from_reference: Motion
) -> Motion | None:
    """Return the similarity that most corners followed, reference to frame; None if too few.

    Parameters
    ----------
    corners : in ``start``, as ``find_corners`` returns them.
    guess : where they should be in the frame: a motion from ``start`` to ``frame``.
    from_reference : the motion from the reference to ``start``.
    """
    if len(corners) < LEAST_CORNERS:
        return None
    factor = 2 ** tracking_level(start)
    before, after = as_bytes(start), as_bytes(frame)
    places = factor * corners[:, 0].astype(np.float64) + (factor - 1) / 2
    ahead = ((apply(guess, places) - (factor - 1) / 2) / factor).astype(np.float32)[:, None]
    there, found, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        corners,
        ahead.copy(),
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        winSize=TRACKED_PX,
        maxLevel=3,
    )
    back, returned, _ = cv2.calcOpticalFlowPyrLK(
        after,
        before,
        there,
        corners.copy(),
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
        winSize=TRACKED_PX,
        maxLevel=3,
    )
    again = np.linalg.norm((back - corners)[:, 0], axis=1) < BACK_AGAIN_PX
    kept = again & (found.ravel() > 0) & (returned.ravel() > 0)
    return _similarity(corners[kept, 0], there[kept, 0], factor, from_reference)


def by_features(reference: Grey, frame: Grey) -> Motion | None:
    """Return the similarity that most matched features follow, reference to frame, or None.

    The dearest guess, and the only one that survives a large turn.

    Source: D. G. Lowe, "Distinctive image features from scale-invariant keypoints", IJCV 60
    (2004), doi:10.1023/B:VISI.0000029664.99615.94.
    """
    finder = cv2.SIFT.create(FEATURES)
    points1, words1 = finder.detectAndCompute(as_bytes(reference), None)
    points2, words2 = finder.detectAndCompute(as_bytes(frame), None)
    if words1 is None or words2 is None or min(len(points1), len(points2)) < LEAST_CORNERS:
        return None
    pairs = cv2.BFMatcher().knnMatch(words1, words2, k=2)
    good = [
        pair[0]
        for pair in pairs
        if len(pair) == 2 and pair[0].distance < DISTINCT * pair[1].distance
    ]
    one = np.array([points1[match.queryIdx].pt for match in good], np.float32).reshape(-1, 2)
    other = np.array([points2[match.trainIdx].pt for match in good], np.float32).reshape(-1, 2)
    return _similarity(one, other, 2 ** tracking_level(reference), translation(0, 0))


def _similarity(one: Corners, other: Corners, factor: int, inner: Motion) -> Motion | None:
    """Return the similarity that most pairs of points follow, at full size, after ``inner``."""
    if len(one) < LEAST_CORNERS:
        return None
    matrix, _ = cv2.estimateAffinePartial2D(
        one, other, method=cv2.RANSAC, ransacReprojThreshold=CONSENSUS_PX
    )
    # what OpenCV's stubs leave out: it returns None where no similarity holds
    found: Motion | None = cast(Any, matrix)
    if found is None:
        return None
    stretch = float(np.hypot(found[0, 0], found[1, 0]))
    turn = abs(float(np.rad2deg(np.arctan2(found[1, 0], found[0, 0]))))
    if turn > MOST_TURN_DEG or not 1 / MOST_STRETCH < stretch < MOST_STRETCH:
        return None
    return compose(to_full(np.vstack([found, (0, 0, 1)]), factor), inner)
