"""What a frame shows that its neighbours, carried along by the sky, do not.

Stars are where the sky's turn takes them, so they vanish in the difference, trails and all, however
long the shutter was open. What stands still is known from the still copy. What is left of noise,
clouds and twinkling is evened, so that the difference is told in standard deviations.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.sky import SkyBridge
from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance

FloatArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# copies are at most so large: a streak of a pixel or two still shows, and three copies are small
MOST_PIXELS = 3_000_000
# noise is averaged over a streak's width
SMOOTHED_PX = 0.8
# a grid of the sky's turn, px of the copy: between its points it is straight
GRID_PX = 16
# light differs slowly where clouds pass: over cells of so many px, of which the middle of 5 x 5
CELL_PX, CELLS = 4, 5
# a star is not carried more exactly than this share of its light
STAR_SHARE = 0.35
# stars' ways are left out within so many px of the copy
STAR_PX = 2
# nearer than so many typical distances between stars there is sky; and in holes up to so many wide
NEAR_STARS, HOLE = 1.5, 2.5


@dataclass(frozen=True, eq=False)
class Copy:
    """The root of a frame's luminance, in which noise is even, float32 (h, w)."""

    root: FloatArray


def copy_factor(size: tuple[int, int]) -> int:
    """Return by how much frames of a size (width, height) are reduced."""
    factor = 1
    while size[0] * size[1] / factor**2 > MOST_PIXELS:
        factor += 1
    return factor


def copy_of(light: LightArray, factor: int, weights: tuple[float, float, float]) -> Copy:
    """Return the copy of a frame, float32 (H, W, 3)."""
    height, width = (side // factor for side in light.shape[:2])
    grey = luminance(light, weights)[: height * factor, : width * factor]
    if factor > 1:
        grey = np.asarray(cv2.resize(grey, (width, height), interpolation=cv2.INTER_AREA))
    root = cv2.sqrt(np.maximum(grey, 0))
    return Copy(np.asarray(cv2.GaussianBlur(root, (0, 0), SMOOTHED_PX), np.float32))


class Excess:
    """Compares frames with their neighbours under a sky that is known.

    Parameters
    ----------
    sky : the bridge of the stars, which knows how the sky turns and where its stars are.
    factor : by which copies are smaller than frames.
    """

    def __init__(self, sky: SkyBridge, factor: int) -> None:
        assert sky.sky is not None
        self.sky, self.factor, self._known = sky, factor, sky.sky
        codes = self._known.still.codes
        height, width = (side // factor for side in codes.shape)
        still = codes[: height * factor, : width * factor].astype(np.float32) / 255
        if factor > 1:
            # the root of light is close enough here, and the greater value is the safer one
            still = np.asarray(cv2.resize(still, (width, height), interpolation=cv2.INTER_AREA))
        self._still = still
        self._about = np.asarray(cv2.dilate(still, np.ones((3, 3), np.uint8)), np.float32)
        self.shape = (height, width)
        self.region = self._sky_region()

    def _full(self, place: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray((place + 0.5) * self.factor - 0.5)

    def _small(self, place: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray((place + 0.5) / self.factor - 0.5)

    def _sky_region(self) -> BoolArray:
        """Return where stars are near in some frame: there is sky, bool (h, w)."""
        seen = np.full(self.shape, 255, np.uint8)
        turns = [turn for turn in self._known.turns if turn is not None]
        typical = []
        for turn in turns[:: max(1, len(turns) // 8)]:
            place = self._inside(self._small(self._known.lens.project(self._known.stars @ turn.T)))
            seen[place[:, 1], place[:, 0]] = 0
            typical.append((self.shape[0] * self.shape[1] / max(len(place), 1)) ** 0.5)
        away = cv2.distanceTransform(seen, cv2.DIST_L2, cv2.DIST_MASK_5)
        distance = float(np.median(typical))
        near = away < NEAR_STARS * distance
        reach = int(HOLE * distance / 2)
        # a hole at the border is one as well, if it is no wider along it
        wide = np.pad(near.astype(np.uint8), 2 * reach, mode="edge")
        kernel = np.ones((2 * reach + 1, 2 * reach + 1), np.uint8)
        closed = cv2.erode(cv2.dilate(wide, kernel), kernel)
        return np.asarray(closed[2 * reach :, 2 * reach :][: self.shape[0], : self.shape[1]], bool)

    def _inside(self, place: npt.NDArray[np.float64]) -> npt.NDArray[np.intp]:
        near = np.rint(place)
        kept = ((near >= 0) & (near < np.array(self.shape[::-1]))).all(axis=1)
        return np.asarray(near[kept], np.intp)

    def carried(self, number: int, other: int, copy: Copy) -> FloatArray | None:
        """Return the copy of frame ``other`` as the sky stands in frame ``number``.

        Float32 (h, w), -1 where that frame does not see it; None where the sky is not known.
        """
        height, width = self.shape
        y, x = np.mgrid[0 : height + GRID_PX : GRID_PX, 0 : width + GRID_PX : GRID_PX]
        grid = np.stack([x.ravel(), y.ravel()], 1).astype(np.float64)
        there = self.sky.carried(self._full(grid), number, other)
        if there is None:
            return None
        # the way is smooth where places may leap behind the camera
        way = np.clip(self._small(there) - grid, -1e5, 1e5).astype(np.float32).reshape(*x.shape, 2)
        scale = np.array([[1 / GRID_PX, 0, 0], [0, 1 / GRID_PX, 0]])
        dense = cv2.warpAffine(
            way, scale, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        dense[..., 0] += np.arange(width, dtype=np.float32)
        dense[..., 1] += np.arange(height, dtype=np.float32)[:, None]
        inside = (
            (dense[..., 0] > 0) & (dense[..., 0] < width - 1)
            & (dense[..., 1] > 0) & (dense[..., 1] < height - 1)
        )  # fmt: skip
        moved = cv2.remap(copy.root, dense, None, cv2.INTER_CUBIC,  # type: ignore[call-overload]
                          borderMode=cv2.BORDER_REPLICATE)  # fmt: skip
        return np.where(inside, moved, np.float32(-1))

    def above(
        self, number: int, copy: Copy, neighbours: Sequence[tuple[int, Copy]]
    ) -> FloatArray | None:
        """Return the excess over what neighbours show, in standard deviations, float32 (h, w).

        Parameters
        ----------
        neighbours : one or more other frames with their copies.

        Returns
        -------
        0 where nothing can be said; None where the sky of the frame is not known.
        """
        most: FloatArray | None = None
        for other, theirs in neighbours:
            moved = self.carried(number, other, theirs)
            if moved is not None:
                most = moved if most is None else np.maximum(most, moved)
        if most is None:
            return None
        known = (most >= 0) & self.region
        if known.sum() < CELL_PX**2:
            return np.zeros(self.shape, np.float32)
        level = _slow(copy.root)
        # along the horizon, neighbours bring ground to where there is sky
        above = copy.root - np.maximum(most, self._still)
        difference = np.where(known, above, 0).astype(np.float32)
        difference -= _slow(difference)
        star = np.maximum(cv2.dilate(most, np.ones((3, 3), np.uint8)) - level, 0)
        stands = np.maximum(self._about - level, 0)
        every = np.abs(difference[known][::7])
        noise = max(1.4826 * float(np.median(every)), 1e-5)
        uneven = np.maximum(_slow(np.abs(difference)) * np.float32(1.4), noise)
        excess = (difference - STAR_SHARE * star - stands) / uneven
        excess[~known] = 0
        self._without_stars(excess, number)
        return np.asarray(excess, np.float32)

    def _without_stars(self, excess: FloatArray, number: int) -> None:
        """Put 0 where known stars pass in a frame."""
        turn = self._known.turns[number]
        if turn is None:
            return
        stars = self._known.stars @ turn.T
        ways = [self._small(self._known.lens.project(stars))]
        for gap, share in ((number - 1, -1), (number, 1)):
            if not 0 <= gap < len(self._known.steps):
                continue
            step = self._known.steps[gap]
            if step is not None:
                half = self._known.halves[gap][0 if share > 0 else 1]
                matrix, _ = cv2.Rodrigues(np.asarray(step * half * share))
                ways.append(self._small(self._known.lens.project(stars @ matrix.T)))
        size = np.array(self.shape[::-1])
        mask = np.zeros(self.shape, np.uint8)
        middle = ways[0]
        near = ((middle > -size) & (middle < 2 * size)).all(axis=1)
        for end in ways[1:] or ways:
            for one, two in zip(middle[near], end[near], strict=True):
                first, last = (tuple(np.rint(each).astype(int).tolist()) for each in (one, two))
                if max(abs(first[0] - last[0]), abs(first[1] - last[1])) < max(self.shape) // 2:
                    cv2.line(mask, first, last, 1, 2 * STAR_PX + 1)
        excess[mask > 0] = 0


def _slow(picture: FloatArray) -> FloatArray:
    """Return what changes slowly over a picture: lines and points leave nothing, (h, w)."""
    height, width = picture.shape
    small = cv2.resize(
        picture, (max(1, width // CELL_PX), max(1, height // CELL_PX)), interpolation=cv2.INTER_AREA
    )
    middle = cv2.medianBlur(np.asarray(small, np.float32), CELLS)
    return np.asarray(cv2.resize(middle, (width, height), interpolation=cv2.INTER_LINEAR))
