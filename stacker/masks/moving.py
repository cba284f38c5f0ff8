"""What moves: where light varies over the frames by more than its noise."""

from __future__ import annotations

import itertools

import cv2
import numpy as np

from stacker.masks.roots import Float32Array, Roots

# the spread of a pixel is that of a window of so many pixels a side: single ones scatter
WINDOW_PX = 5
# Times the spread of what keeps still at the same level of light: from there on a place moves a
# little, moves for sure.
A_LITTLE, SURELY = 2.0, 3.0
# Codes: a lossy file takes the noise out of what is smooth and leaves it where there is texture,
# which must not pass for motion.
LEAST_QUIET = 0.75
# levels of the root of light that noise is told for, and the share of pixels at each that keep
# still if any do
LEVELS, STILLEST = 16, 20
# of a level with fewer pixels nothing is told
LEAST_PIXELS = 200
# places that move are joined over this many pixels, and softened over half of that
JOINED_PX = 5


def moving_share(roots: Roots) -> Float32Array:
    """Return how surely each pixel moves, float32 (h, w), 0 to 1, soft at its borders.

    Notes
    -----
    Noise is told by the stillest fifth of the pixels at each level of light, so a picture in which
    nearly everything moves at some level seems stiller there than it is.
    """
    spread = _spread(roots)
    quiet = _quiet(spread, roots.middle)
    ratio = spread / quiet
    share = np.clip((ratio - A_LITTLE) / (SURELY - A_LITTLE), 0, 1).astype(np.float32)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (JOINED_PX, JOINED_PX))
    # specks go before gaps are closed, or they would grow together
    share = np.asarray(cv2.morphologyEx(share, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
    share = np.asarray(cv2.morphologyEx(share, cv2.MORPH_CLOSE, kernel))
    return np.asarray(cv2.GaussianBlur(share, (0, 0), JOINED_PX / 4), np.float32)


def _spread(roots: Roots) -> Float32Array:
    """Return the standard deviation over the frames, of windows, float32 (h, w)."""
    shape = roots.middle.shape
    total, squares = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for bright in roots.bright:
        apart = bright - roots.middle
        total += apart
        squares += apart * apart
    variance = squares / roots.count - (total / roots.count) ** 2
    window = cv2.blur(np.maximum(variance, 0), (WINDOW_PX, WINDOW_PX))
    return np.asarray(np.sqrt(np.maximum(window, 0.01)), np.float32)


def _quiet(spread: Float32Array, middle: Float32Array) -> Float32Array:
    """Return the spread of what keeps still at each pixel's level of light, float32 (h, w)."""
    edges = np.unique(np.percentile(middle, np.linspace(0, 100, LEVELS + 1)))
    centres, quiet = [], []
    for low, high in itertools.pairwise(edges):
        inside = (middle >= low) & (middle <= high)
        if inside.sum() >= LEAST_PIXELS:
            centres.append((low + high) / 2)
            quiet.append(np.percentile(spread[inside], STILLEST))
    if not quiet:
        return np.full_like(spread, max(LEAST_QUIET, np.percentile(spread, STILLEST)))
    # A level at which everything moves is no measure: none is much noisier than the quietest,
    # since the root makes noise even.
    least = min(quiet)
    limited = np.clip(quiet, LEAST_QUIET, max(LEAST_QUIET, 2 * least))
    return np.asarray(np.interp(middle, centres, limited), np.float32)
