"""What of the picture stands still: a rough copy of it in which no star is left.

Light of stars belongs only before the sky; roofs, trees, lamps and hot pixels stand still, and
look different from the sky next to them. The copy is the median over a few frames spread over the
burst, in which a passing star leaves nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance
from stacker.register.sky.points import BoolArray
from stacker.register.sky.stars import IntArray

ByteArray = npt.NDArray[np.uint8]
Float32Array = npt.NDArray[np.float32]

# Frames that make the copy: held as a byte a pixel, nine take less than one frame's light.
FRAMES = 9
# among fewer, the end of a trail and the beginning of the next make half of those at a place
MEDIAN_OF, LEAST_FRAMES = 5, 3
BAND_ROWS = 64
CODES = 255
# every pixel of so many rows and columns counts for the noise of the copy
SAMPLED = 7
# a median of 25 pixels; and 0.6745 of a standard deviation are half of all deviations
WINDOW_PX, MIDDLE = 5, 0.6745
# how far a pixel may differ from the sky next to it: standard deviations of the copy's noise, and
# a share of the root of the light (a quarter of the light itself), for skies grow darker upwards
NOISES, SHARE = 4.0, 0.12
# how far from a point its surroundings are taken, px of a reduced copy
RING_PX = 4


@dataclass(frozen=True, eq=False)
class Still:
    """The copy: ``codes`` uint8 (H, W), 255 times the root of the luminance, in which noise is
    about even; ``noise`` its standard deviation, in codes; ``frames`` of how many it is made."""

    codes: ByteArray
    noise: float
    frames: int

    def at(self, rows: IntArray, columns: IntArray) -> Float32Array:
        """Return the codes of pixels, float32 (N,)."""
        return self.codes[rows, columns].astype(np.float32)

    def alike(self, codes: Float32Array, level: Float32Array, own: Float32Array) -> BoolArray:
        """Return which codes (N,) look like a sky of these levels (N,).

        ``own`` (N,) is the light of the star itself: of two frames, the copy keeps some of it
        where one trail ends and the next begins.
        """
        allowed = NOISES * self.noise + SHARE * level
        above = allowed
        if self.frames < LEAST_FRAMES:
            above = allowed + np.sqrt(level**2 + np.maximum(own, 0) * CODES**2) - level
        return np.asarray((codes - level <= above) & (level - codes <= allowed))

    @cached_property
    def points(self) -> tuple[IntArray, IntArray]:
        """Return rows and columns of what is much brighter than its surroundings and stands still:
        hot pixels and lamps, but no star that moves. Two frames do not tell these from the place
        where one trail ends and the next begins: then there are none."""
        if self.frames < LEAST_FRAMES:
            return np.zeros(0, np.intp), np.zeros(0, np.intp)
        smooth = cv2.medianBlur(self.codes, WINDOW_PX)
        apart = cv2.subtract(self.codes, smooth)
        limit = cv2.convertScaleAbs(smooth, alpha=SHARE, beta=NOISES * self.noise)
        rows, columns = np.nonzero(apart > limit)
        return rows, columns


def without_points(light: LightArray, still: Still, factor: int) -> LightArray:
    """Return a reduced copy of a frame with what surrounds them in the place of points that stand
    still. Changed in place and returned.

    Parameters
    ----------
    light : float32 (h, w, 3), reduced by ``factor``.
    """
    height, width = light.shape[:2]
    rows, columns = (each // factor for each in still.points)
    inside = (rows < height) & (columns < width)
    cells = np.unique(rows[inside] * width + columns[inside])
    y, x = cells // width, cells % width
    ring = [
        light[np.clip(y + RING_PX * dy, 0, height - 1), np.clip(x + RING_PX * dx, 0, width - 1)]
        for dy in (-1, 0, 1)
        for dx in (-1, 0, 1)
        if dx or dy
    ]
    around = np.median(np.stack(ring), axis=0)
    # a camera mixes a hot pixel into its neighbours where it fills in the colours
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            light[np.clip(y + dy, 0, height - 1), np.clip(x + dx, 0, width - 1)] = around
    return light


def chosen_frames(count: int) -> list[int]:
    """Return the numbers of the frames that make the copy."""
    return [int(n) for n in np.unique(np.linspace(0, count - 1, min(FRAMES, count)).round())]


def root_codes(light: LightArray, weights: tuple[float, float, float]) -> ByteArray:
    """Return 255 times the root of the luminance of light (H, W, 3), uint8 (H, W)."""
    codes = np.empty(light.shape[:2], np.uint8)
    for top in range(0, len(light), BAND_ROWS):
        band = luminance(light[top : top + BAND_ROWS], weights)
        root = cv2.sqrt(np.maximum(band, 0, out=band))
        cv2.convertScaleAbs(root, dst=codes[top : top + BAND_ROWS], alpha=CODES)
    return codes


def still_of(copies: Sequence[ByteArray]) -> Still:
    """Return the middle of some frames' codes; of two middle ones the lesser, of few the least."""
    codes = np.empty_like(copies[0])
    middle = (len(copies) - 1) // 2 if len(copies) >= MEDIAN_OF else 0
    for top in range(0, len(codes), BAND_ROWS):
        ranked = [copy[top : top + BAND_ROWS].copy() for copy in copies]
        # the greatest of those left go to the end, until the middle one is there
        for end in range(len(ranked) - 1, middle - 1, -1):
            for place in range(end):
                low = cv2.min(ranked[place], ranked[place + 1])
                cv2.max(ranked[place], ranked[place + 1], dst=ranked[place + 1])
                ranked[place] = np.asarray(low, np.uint8)
        codes[top : top + BAND_ROWS] = ranked[middle]
    smooth = cv2.medianBlur(codes, WINDOW_PX)
    apart = cv2.absdiff(codes, smooth)[::SAMPLED, ::SAMPLED]
    # whole codes: the median of a few steps says little, their mean more
    noise = float(np.minimum(apart, np.percentile(apart, 95)).mean()) / 0.8
    return Still(codes, max(noise, 0.5), len(copies))
