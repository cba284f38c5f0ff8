"""How much of the reference's fine detail a frame has, whatever the noise.

Noise differs between two frames, so the product of their slopes is free of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, to_reduced
from stacker.register.scene.align import full_places
from stacker.register.scene.grey import Grey, GreyArray
from stacker.register.scene.tiles import NOISE_SLOPE, Samples, Tiles, slopes

# directions in which detail is compared: motion blur takes it along one of them
DIRECTIONS = np.deg2rad([0, 22.5, 45, 67.5, 90, 112.5, 135, 157.5])
# tiles in which that share of the squared slope is not noise are compared, if there are so many
LEAST_SIGNAL = 0.3
LEAST_TILES = 6
# Above the median: tiles that a walker has covered have lost their detail, and in a full street
# that may be half of those that still agree.
UPPER = 70

Float64Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Sharpness:
    """The share of the reference's detail that a frame has, in its worst and best direction.

    1 where noise leaves nothing to compare. Pixels are chosen for their slope in the reference,
    and noise helps to be chosen: in dark bursts every other frame seems to have less detail. So
    frames are to be compared with each other by it, not with 1.
    """

    worst: float
    best: float
    error: float


def detail_of(grey: Grey) -> float:
    """Return the mean squared slope of a frame's detail that is not noise."""
    gx, gy = slopes(grey.levels[0])
    whole = float(np.mean(gx * gx + gy * gy))
    return max(0.0, whole - 2 * NOISE_SLOPE[0] * grey.noise**2)


def sharpness(
    tiles: Tiles,
    coarse: Tiles,
    agreeing: npt.NDArray[np.bool_],
    frame: Grey,
    to_frame: Motion,
) -> Sharpness:
    """Return how much detail a frame has where it agrees with the reference.

    Parameters
    ----------
    tiles : of the reference's first level.
    coarse, agreeing : the coarsest tiles, and (T,) which of them agree with the motion.
    """
    chosen = _within(tiles, coarse, agreeing) & (tiles.signal > LEAST_SIGNAL)
    if chosen.sum() < LEAST_TILES:
        return Sharpness(1.0, 1.0, 0.0)
    x, y, use = tiles.x[chosen], tiles.y[chosen], tiles.use[chosen]
    across0, down0 = tiles.gx[chosen], tiles.gy[chosen]
    value, across, down = _seen_at(frame.levels[0], x, y, to_reduced(to_frame, 1))
    # a turn of a few degrees turns the slopes little enough
    scale = _exposure(tiles.value[chosen], value)
    texture = tiles.signal[chosen]
    found = []
    for angle in DIRECTIONS:
        c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
        zero, one = c * across0 + s * down0, c * across + s * down
        signal = np.einsum("tk,tk,tk->t", zero, zero, use) * texture
        shared = np.einsum("tk,tk,tk->t", zero, one, use)
        share = shared / np.maximum(signal, 1e-9) / scale
        low, middle, high = _percentiles(share, signal, (16, UPPER, 84))
        # half the middle two thirds is the deviation of one tile
        found.append((middle, (high - low) / 2 / np.sqrt(len(share))))
    return Sharpness(
        worst=min(value for value, _ in found),
        best=max(value for value, _ in found),
        error=max(error for _, error in found),
    )


def _percentiles(
    values: Float64Array, weights: Float64Array, shares: tuple[float, ...]
) -> list[float]:
    """Return the values below which these percentages of the weight lie."""
    order = np.argsort(values)
    total = np.cumsum(weights[order])
    at = np.searchsorted(total, total[-1] * np.array(shares) / 100)
    return [float(value) for value in values[order][at]]


def _within(tiles: Tiles, coarse: Tiles, agreeing: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return which tiles lie in coarse tiles that agree, bool (T,)."""
    rows, columns = coarse.shape
    held = np.zeros(rows * columns, bool)
    held[coarse.place[agreeing]] = True
    places = (full_places(tiles) - (2**coarse.level - 1) / 2) / 2**coarse.level
    cell = ((places - 2) / coarse.side).astype(int)
    column = np.clip(cell[:, 0], 0, columns - 1)
    row = np.clip(cell[:, 1], 0, rows - 1)
    return np.asarray(held[row * columns + column])


def _seen_at(level: GreyArray, x: Samples, y: Samples, motion: Motion) -> tuple[Samples, ...]:
    """Return a level and its slopes across and down where points of the reference lie in it."""
    m = motion.astype(np.float32)
    depth = m[2, 0] * x + m[2, 1] * y + m[2, 2]
    mx = (m[0, 0] * x + m[0, 1] * y + m[0, 2]) / depth
    my = (m[1, 0] * x + m[1, 1] * y + m[1, 2]) / depth
    planes = (level, *slopes(level))
    border = cv2.BORDER_REPLICATE
    seen = (cv2.remap(plane, mx, my, cv2.INTER_LINEAR, borderMode=border) for plane in planes)
    return tuple(np.asarray(plane, np.float32) for plane in seen)


def _exposure(zero: Samples, one: Samples) -> float:
    """Return how much larger slopes are in the frame because it is brighter.

    Asked of the tiles: a firework or a beam makes the picture brighter, and not what is compared.
    """
    shares = one.mean(axis=1) / np.maximum(zero.mean(axis=1), 1e-3)
    return max(float(np.median(shares)), 1e-3)
