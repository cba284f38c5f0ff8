"""What tells sky from ground over time: stars that pass, and light that changes."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from stacker.masks.roots import BoolArray, Float32Array, Roots

# A star passes: a pixel is this many standard deviations above its own middle value ...
SIGMAS = 5.0
# ... in no more than this share of the frames, together with a neighbour.
MOST_FRAMES, LEAST_TOGETHER = 0.25, 2
# what fills a square of so many pixels a side is no star
LARGE_PX = 5
# what is bright is bright against the mean of a square of so many pixels a side
LEVEL_PX = 15
# how far around a star there is sky, as a share of the longer side
STAR_REACH, LEAST_REACH_PX = 0.02, 10.0
# Shares of the density where stars are many: from there on a place has stars, is full of them.
SOME, MANY = 0.1, 0.25
# density in the densest tenth, in stars' pixels per pixel, below which there is no starry sky
LEAST_DENSITY = 0.004
# Light is compared in cells of so many a longer side; it has changed where its spread over the
# frames is this many times that of noise, and by this share.
CELLS, CHANGED_SIGMAS, LEAST_CHANGE = 48, 5.0, 0.06
# the share of the picture, from its upper border, that is sky if any is
TOP = 0.06
# of the upper border, how much has to change
MOST_OF_TOP = 0.6
# a cell follows the sky's light where it changed by more than this share of what the sky did
FOLLOWS = 0.6


@dataclass(frozen=True, eq=False)
class Evidence:
    """Where something happened that happens in the sky alone.

    Parameters
    ----------
    by : what it was, in words.
    near : bool (h, w), places that are sky as far as that goes.
    sure : bool (h, w), the surest of them, in which no edges of the ground are expected.
    seen : float32 (h, w), weight against each pixel's being ground.
    """

    by: str
    near: BoolArray
    sure: BoolArray
    seen: Float32Array


def evidence_of(roots: Roots) -> Evidence | None:
    """Return what tells where sky is; None where nothing does."""
    return _stars(roots) or _changing_light(roots)


def _stars(roots: Roots) -> Evidence | None:
    """Return where stars passed: bright for a moment where it is dark most of the time."""
    height, width = roots.middle.shape
    lit = np.zeros((height, width), np.uint8)
    large = np.ones((LARGE_PX, LARGE_PX), np.uint8)
    for bright in roots.bright:
        apart = bright - roots.middle
        # a sky that grows brighter as a whole holds no more stars for it
        apart -= cv2.blur(apart, (LEVEL_PX, LEVEL_PX))
        bright_now = (apart > SIGMAS * roots.noise).astype(np.uint8)
        # walkers, cars and waves are larger than a star or its trail is wide
        wide = cv2.dilate(cv2.morphologyEx(bright_now, cv2.MORPH_OPEN, large), large)
        lit += np.asarray(cv2.subtract(bright_now, wide), np.uint8)
    passing = ((lit > 0) & (lit <= max(1, round(MOST_FRAMES * roots.count)))).astype(np.uint8)
    together = cv2.boxFilter(passing, cv2.CV_16S, (3, 3), normalize=False)
    passing[together < LEAST_TOGETHER] = 0
    reach = max(STAR_REACH * max(height, width), LEAST_REACH_PX)
    density = cv2.GaussianBlur(passing.astype(np.float32), (0, 0), reach)
    most = float(np.percentile(density, 90))
    if most < LEAST_DENSITY:
        return None
    # each pixel where a star was seen speaks against ground
    seen = 0.5 * passing.astype(np.float32)
    # about the pole stars stand still: what has stars below it is sky all the same
    some = np.asarray(density > SOME * most)
    near = np.logical_or.accumulate(some[::-1], axis=0)[::-1]
    return Evidence("its stars", near, density > MANY * most, seen)


def _changing_light(roots: Roots) -> Evidence | None:
    """Return where light changed as it did along the upper border; None where that kept still."""
    height, width = roots.middle.shape
    side = max(2, max(height, width) // CELLS)
    size = (max(1, width // side), max(1, height // side))
    cells = np.stack(
        [
            cv2.resize(bright.astype(np.float32), size, interpolation=cv2.INTER_AREA)
            for bright in roots.bright
        ]
    )
    mean = cells.mean(axis=0)
    spread = cells.std(axis=0)
    rows = max(1, round(TOP * size[1]))
    limit = np.maximum(CHANGED_SIGMAS * roots.noise / side, LEAST_CHANGE * mean)
    if (spread > limit)[:rows].mean() < MOST_OF_TOP:
        return None
    share = spread / np.maximum(mean, 1)
    usual = float(np.median(share[:rows]))
    follows = ((share > FOLLOWS * usual) & (spread > limit)).astype(np.float32)
    full = cv2.resize(follows, (width, height), interpolation=cv2.INTER_LINEAR)
    near = np.asarray(full > 0.5)
    sure = near.copy()
    sure[height // 2 :] = False
    # a cell of sky below the line weighs as a star does
    return Evidence("its light", near, sure, np.asarray(full * (2.0 / side), np.float32))
