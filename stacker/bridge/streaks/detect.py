"""All streaks of one frame: ridges at growing scales, strung together, measured at full size."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.chains import join, string_together
from stacker.bridge.streaks.ridges import RidgePoints, find_ridges
from stacker.bridge.streaks.streak import Streak, measure
from stacker.light.encoding import LightArray

FloatArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]
# tells which points on ridges, of a copy so many times smaller, are not to be strung together
Spared = Callable[[RidgePoints, int], BoolArray]

# strength, in times its noise, at which a ridge begins and to which it is followed
SEED, LEAST = 9.0, 4.5
LEAST_POINTS = 4
# what is left of the ridges of stars, where they touch, is short
LEAST_BESIDE_STARS = 14
# more lines than these are no lamps' but a day's, and joining takes time with their square
MOST_JOINED = 10_000
# where light moves at all is looked for on a copy so many times smaller
COARSE = 8
# in times the noise of the copy
MOVES = 5.0
# parts of a level that are looked at where light moves, and what they overlap, px of the level
TILE_PX, MARGIN_PX = 256, 8
# levels halve the picture until its shorter side is this long
SMALLEST_PX = 60
MOST_LEVELS = 6
# noise that neighbours share makes reduced pictures noisier than pixels that err alone
MOST_SHARED = 4.0
# a broad ridge is no news within so many px of its level from a finer one
KNOWN_PX = 2.2
# a streak wider than this, px of the level, is left to the next one
MOST_WIDE = 5.0
# the rays that spread from a streak's end lie by it with more than this share of their points
MOST_MARKED = 0.3


def find_streaks(
    light: LightArray,
    background: Background,
    spared: Spared | None = None,
    most: int | None = None,
) -> list[Streak]:
    """Return the streaks of one frame, float32 (H, W, 3), where ridges are not spared.

    With more than ``most`` of them it stops at the next one.
    """
    excess = background.mean_excess(light)
    size = (light.shape[1], light.shape[0])
    levels = min(MOST_LEVELS, 1 + max(0, int(np.log2(max(1.0, min(size) / SMALLEST_PX)))))
    noise = background.unrest
    moving = _where_light_moves(excess, noise)
    known = np.zeros(excess.shape, np.uint8)
    found: list[Streak] = []
    if not moving.any():
        return found
    for level in range(levels):
        scale = 2**level
        small, rough = _level(excess, noise, scale)
        known = _fit(known, small.shape)
        lines: list[FloatArray] = []
        points = _points(small, rough, moving, scale)
        if len(points):
            points = points.only(_unknown(points, known))
        if len(points) and spared is not None:
            points = points.only(~spared(points, scale))
        least = LEAST_POINTS if spared is None else LEAST_BESIDE_STARS
        points = points.only(_in_company(points, small.shape, least))
        if len(points):
            lines = string_together(points, seed=SEED, least_points=least)
            if len(lines) <= MOST_JOINED:
                lines = join(lines, small)
        own = np.zeros_like(known)
        for line in sorted(lines, key=len, reverse=True):
            if _share_marked(line, own) > MOST_MARKED:
                continue
            streak = _measured(line, scale, light, background)
            if streak is not None and (streak.width <= MOST_WIDE * scale or level == levels - 1):
                found.append(streak)
                _mark(own, streak.line, scale, streak.width / 2)
                _mark(known, streak.line, scale, KNOWN_PX * 2 * scale)
                if most is not None and len(found) > most:
                    return found
    return found


def _where_light_moves(excess: FloatArray, noise: npt.NDArray[np.float16]) -> BoolArray:
    """Return cells of ``COARSE`` px in which there is more light than noise, grown by one."""
    small, rough = _level(excess, noise, COARSE)
    moves = (small > MOVES * rough).astype(np.uint8)
    return np.asarray(cv2.dilate(moves, np.ones((3, 3), np.uint8)), bool)


def _level(
    excess: FloatArray, noise: npt.NDArray[np.float16], scale: int
) -> tuple[FloatArray, FloatArray]:
    """Return the excess and its noise on a copy ``scale`` times smaller."""
    if scale == 1:
        return excess, noise.astype(np.float32)
    h, w = max(1, excess.shape[0] // scale), max(1, excess.shape[1] // scale)
    whole = (slice(0, h * scale), slice(0, w * scale))
    small = np.asarray(cv2.resize(excess[whole], (w, h), interpolation=cv2.INTER_AREA), np.float32)
    rough = np.asarray(
        cv2.resize(noise[whole].astype(np.float32), (w, h), interpolation=cv2.INTER_AREA),
        np.float32,
    )
    part = (slice(None, None, 3), slice(None, None, 3))
    shared = 1.4826 * scale * float(np.median(np.abs(small[part] / rough[part])))
    return small, rough * np.float32(min(max(shared, 1.0), MOST_SHARED) / scale)


def _fit(known: npt.NDArray[np.uint8], shape: tuple[int, ...]) -> npt.NDArray[np.uint8]:
    """Return the map of what is known at the size of the next level."""
    if known.shape == shape:
        return known
    h, w = shape
    grown = cv2.dilate(known, np.ones((2, 2), np.uint8))
    return np.asarray(cv2.resize(grown, (w, h), interpolation=cv2.INTER_NEAREST), np.uint8)


def _tiles(moving: BoolArray, shape: tuple[int, ...], scale: int) -> Iterator[tuple[int, int]]:
    """Yield top and left of each tile of a level in which light moves."""
    cell = scale / COARSE
    for top in range(0, shape[0], TILE_PX):
        for left in range(0, shape[1], TILE_PX):
            rows = slice(int(top * cell), int(np.ceil((top + TILE_PX) * cell)) + 1)
            columns = slice(int(left * cell), int(np.ceil((left + TILE_PX) * cell)) + 1)
            if moving[rows, columns].any():
                yield top, left


def _points(small: FloatArray, rough: FloatArray, moving: BoolArray, scale: int) -> RidgePoints:
    """Return the points on ridges of one level, tile by tile."""
    parts = []
    for top, left in _tiles(moving, small.shape, scale):
        y0, x0 = max(top - MARGIN_PX, 0), max(left - MARGIN_PX, 0)
        window = (slice(y0, top + TILE_PX + MARGIN_PX), slice(x0, left + TILE_PX + MARGIN_PX))
        points = find_ridges(small[window], rough[window], LEAST)
        if not len(points):
            continue
        place = points.place + np.array([x0, y0], np.float32)
        cell = np.rint(place).astype(int)
        own = (cell >= [left, top]).all(axis=1) & (cell < [left + TILE_PX, top + TILE_PX]).all(1)
        parts.append((place[own], points.along[own], points.strength[own]))
    if not parts:
        none = np.zeros((0, 2), np.float32)
        return RidgePoints(none, none, none[:, 0])
    return RidgePoints(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _unknown(points: RidgePoints, known: npt.NDArray[np.uint8]) -> BoolArray:
    """Return which points do not lie by a line of a finer level."""
    cell = np.rint(points.place).astype(int)
    cell = np.clip(cell, 0, [known.shape[1] - 1, known.shape[0] - 1])
    return np.asarray(known[cell[:, 1], cell[:, 0]] == 0, bool)


def _in_company(points: RidgePoints, shape: tuple[int, ...], least: int) -> BoolArray:
    """Return which points have so many about them that a line of ``least`` may end there."""
    there = np.zeros(shape, np.uint8)
    cell = np.clip(np.rint(points.place).astype(int), 0, [shape[1] - 1, shape[0] - 1])
    there[cell[:, 1], cell[:, 0]] = 1
    side = 2 * least + 1
    about = cv2.boxFilter(there, cv2.CV_16S, (side, side), normalize=False,
                          borderType=cv2.BORDER_CONSTANT)  # fmt: skip
    # a chain's steps may be longer than a pixel
    return np.asarray(about[cell[:, 1], cell[:, 0]] >= least // 2, bool)


def _mark(known: npt.NDArray[np.uint8], line: FloatArray, scale: int, radius: float) -> None:
    """Mark what lies within ``radius`` px of a streak's line, on the map of a level."""
    on_level = (line + 0.5) / scale - 0.5
    thick = max(1, 2 * round(radius / scale) + 1)
    cv2.polylines(known, [np.rint(on_level).astype(np.int32)], False, 1, thickness=thick)


def _share_marked(line: FloatArray, marked: npt.NDArray[np.uint8]) -> float:
    """Return which share of a line of the level is marked."""
    cell = np.clip(np.rint(line).astype(int), 0, [marked.shape[1] - 1, marked.shape[0] - 1])
    return float(np.mean(marked[cell[:, 1], cell[:, 0]]))


def _measured(
    line: FloatArray, scale: int, light: LightArray, background: Background
) -> Streak | None:
    """Return the streak along a line of a level, measured on the frame."""
    full = (line + 0.5) * scale - 0.5
    margin = 12 * scale + 8
    low = np.maximum(np.floor(full.min(axis=0)) - margin, 0).astype(int)
    high = np.ceil(full.max(axis=0)).astype(int) + margin + 1
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    corner = low.astype(np.float32)
    size = (light.shape[1], light.shape[0])
    return measure(full - corner, background.excess(light, window), float(scale), size, corner)
