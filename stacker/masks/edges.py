"""Edges of the still picture, in multiples of what a sky without any shows."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.masks.roots import BoolArray, Float32Array

# smoothing before slopes are taken, px across and down: even, and along long flat edges
EVEN, LEVEL, UPRIGHT = (1.2, 1.2), (6.0, 1.2), (1.2, 6.0)
FINE = (1.0, 1.0)
# stars that hardly move, and lamps, are narrower than this: they are no edges
POINT_PX = 5
# Of the slopes where there is sky for sure, the one that edges are measured by: trails that were
# left in some of them do not move it.
PERCENTILE = 75


def without_points(still: Float32Array) -> Float32Array:
    """Return the still picture without bright points, float32 (h, w, 3); what is dark stays."""
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (POINT_PX, POINT_PX))
    return np.asarray(cv2.morphologyEx(still, cv2.MORPH_OPEN, kernel), np.float32)


def long_edges(still: Float32Array, sky: BoolArray) -> Float32Array:
    """Return how clear edges are, float32 (h, w), faint ones by their length.

    Parameters
    ----------
    still : float32 (h, w, 3).
    sky : bool (h, w), where there is sky for sure: 1.0 is an edge as noise makes there.
    """
    return np.asarray(
        np.maximum.reduce([_slopes(still, sky, each) for each in (EVEN, LEVEL, UPRIGHT)])
    )


def fine_edges(still: Float32Array, sky: BoolArray) -> Float32Array:
    """Return how clear edges are, each pixel by itself, float32 (h, w)."""
    return _slopes(still, sky, FINE)


def _slopes(still: Float32Array, sky: BoolArray, smooth: tuple[float, float]) -> Float32Array:
    soft = cv2.GaussianBlur(still, (0, 0), sigmaX=smooth[0], sigmaY=smooth[1])
    total = np.zeros(still.shape[:2], np.float32)
    # along the longer side of the smoothing there is nothing to be told
    if smooth[0] <= smooth[1]:
        total += _squared(cv2.Sobel(soft, cv2.CV_32F, 1, 0, scale=1 / 8))
    if smooth[1] <= smooth[0]:
        total += _squared(cv2.Sobel(soft, cv2.CV_32F, 0, 1, scale=1 / 8))
    slopes = np.sqrt(total)
    return np.asarray(slopes / max(float(np.percentile(slopes[sky], PERCENTILE)), 1e-6))


def _squared(slope: npt.ArrayLike) -> Float32Array:
    """Return the squares of slopes, added up over the channels."""
    steep = np.asarray(slope, np.float32)
    return np.asarray((steep**2).sum(axis=2), np.float32)
