"""What moves before what stands still: how much of the picture, and where it is never empty."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.evening import where_values_agree

RootArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# frames that are compared at most, spread evenly over the burst: more tell little more
MOST_FRAMES = 96
# fewer tell nothing: what is still is what two fifths of them agree on
FEWEST_FRAMES = 5
# the copies that are compared are reduced to this along their longer side
LONG_SIDE = 320
# a pixel is covered where it differs from the still picture by so many standard deviations of the
# noise, and by so much of the root of light, which is three codes of 8 bits
SIGMAS, LEAST_SEEN = 4.5, 0.012
# how far held frames may still be off, px: an edge that moved so far has not been covered
OFF_PX = 0.3
# percent of the pixels, the stillest ones, that tell the noise
STILLEST = 20
# pixels of pure noise that tell what these have by chance
TRIALS = 2000
# a spot covered for more than this share of the frames keeps something in a median
NEVER_EMPTY = 0.5
# specks of fewer pixels than this are noise
SPECK_PX = 4


@dataclass(frozen=True, eq=False)
class Movers:
    """What moves.

    Parameters
    ----------
    moving : share of the picture that is covered by something that moves, in the mean frame.
    touched : share that is covered in at least one frame.
    vanishing : share that is covered at some time, but for no more than half of the frames: there
        a median shows what stands still.
    never_empty : share that is covered in more than half of the frames.
    box : x, y, width, height in full-size pixels of the largest part that is never empty; None
        where there is none.
    cover : float32 (h, w), the share of frames in which each pixel is covered.
    still : float32 (h, w), the root of the luminance of what stands still.
    limit : float32 (h, w), how much a frame must differ from ``still`` to be covered.
    noise : standard deviation of the copies' noise, root of light.
    of_frame : float64 (M,), the share of each frame that is covered.
    scale : full-size pixels of one pixel of these maps.
    """

    moving: float
    touched: float
    vanishing: float
    never_empty: float
    box: tuple[int, int, int, int] | None
    cover: RootArray
    still: RootArray
    limit: RootArray
    noise: float
    of_frame: npt.NDArray[np.float64]
    scale: float

    def covered(self, root: RootArray) -> BoolArray:
        """Return where a frame shows something else than what stands still, bool (h, w).

        Parameters
        ----------
        root : float32 (h, w), root of its light, evened; NaN where it does not reach.
        """
        return _covered(root, self.still, self.limit)


def find_movers(roots: npt.NDArray[np.float32], scale: float, *, resampled: bool) -> Movers | None:
    """Return what moves in frames that are held to one view; None for fewer than five.

    Parameters
    ----------
    roots : float32 (M, h, w), the root of the luminance, evened in light; NaN where a frame does
        not reach.
    scale : full-size pixels of one of theirs.
    resampled : whether frames were moved upon each other, so that edges may be a bit off.

    Notes
    -----
    Still is what the narrowest two fifths of a pixel's values agree on. Where something moves all
    the time, as in water, few agree, and the pixel counts as covered most of the time.
    """
    if len(roots) < FEWEST_FRAMES:
        return None
    still = where_values_agree(roots)
    noise = _noise(roots)
    limit = np.full(still.shape, max(SIGMAS * noise, LEAST_SEEN), np.float32)
    if resampled:
        limit += np.float32(OFF_PX / scale) * _steepness(still)
    cover = np.zeros(still.shape, np.float32)
    seen = np.zeros(still.shape, np.float32)
    of_frame = np.zeros(len(roots))
    for number, root in enumerate(roots):
        there = np.isfinite(root) & np.isfinite(still)
        covered = _covered(root, still, limit)
        cover += covered
        seen += there
        of_frame[number] = covered.sum() / max(1, there.sum())
    inside = seen > len(roots) / 2
    share = np.divide(cover, seen, out=np.zeros_like(cover), where=seen > 0)
    count = max(1, int(inside.sum()))
    # a thin line is the rim of a frame that was moved, or an edge that was held badly
    taken = (inside & (share > NEVER_EMPTY)).astype(np.uint8)
    busy = cv2.morphologyEx(taken, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)) > 0
    touched = inside & (cover > 0)
    return Movers(
        moving=float(of_frame.mean()),
        touched=float(touched.sum()) / count,
        vanishing=float((touched & ~busy).sum()) / count,
        never_empty=float(busy.sum()) / count,
        box=_largest(busy, scale),
        cover=share,
        still=still,
        limit=limit,
        noise=noise,
        of_frame=of_frame,
        scale=scale,
    )


def _covered(root: RootArray, still: RootArray, limit: RootArray) -> BoolArray:
    # what is not known compares as false
    return _without_specks(np.abs(root - still) > limit)


def _noise(roots: npt.NDArray[np.float32]) -> float:
    """Return the standard deviation of the noise, from the pixels that are the stillest."""
    count = len(roots)
    agreeing = max(2, int(np.ceil(0.4 * count)))
    # every third pixel along each side is plenty
    found = _stillest_width(roots[:, ::3, ::3].reshape(count, -1), agreeing)
    return found / _width_of_noise(count, agreeing) if np.isfinite(found) else 0.0


def _stillest_width(values: npt.NDArray[np.float32], agreeing: int) -> float:
    """Return the narrowest span of so many of each column's values, of the stillest columns."""
    ordered = np.sort(values, axis=0)
    width = (ordered[agreeing - 1 :] - ordered[: len(values) - agreeing + 1]).min(axis=0)
    known = width[np.isfinite(width)]
    return float(np.percentile(known, STILLEST)) if known.size else float("nan")


@cache
def _width_of_noise(count: int, agreeing: int) -> float:
    """Return the same for noise of deviation 1: no formula is as short as trying it out."""
    trial = np.random.default_rng(0).normal(size=(count, TRIALS)).astype(np.float32)
    return _stillest_width(trial, agreeing)


def _steepness(still: RootArray) -> RootArray:
    """Return the size of the gradient, per pixel."""
    smooth = cv2.GaussianBlur(np.nan_to_num(still), (0, 0), 0.7)
    across = cv2.Sobel(smooth, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(smooth, cv2.CV_32F, 0, 1, scale=1 / 8)
    steep = np.asarray(cv2.magnitude(across, down), np.float32)
    return np.asarray(cv2.dilate(steep, np.ones((3, 3), np.uint8)), np.float32)


def _without_specks(covered: BoolArray) -> BoolArray:
    """Return a mask without groups of fewer than ``SPECK_PX`` pixels."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(covered.astype(np.uint8), None)
    large = stats[:, cv2.CC_STAT_AREA] >= SPECK_PX
    large[0] = False
    return np.asarray(large[labels]) if count > 1 else covered


def _largest(busy: BoolArray, scale: float) -> tuple[int, int, int, int] | None:
    """Return the box about the largest connected part, in full-size pixels."""
    count, _, stats, _ = cv2.connectedComponentsWithStats(busy.astype(np.uint8), None)
    if count < 2:
        return None
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    if stats[best, cv2.CC_STAT_AREA] < SPECK_PX:
        return None
    x, y, width, height = (round(float(value) * scale) for value in stats[best, :4])
    return x, y, width, height


def chosen_frames(good: Sequence[int], most: int = MOST_FRAMES) -> list[int]:
    """Return at most so many of the indices, spread evenly."""
    count = min(len(good), most)
    return [good[k * len(good) // count] for k in range(count)]
