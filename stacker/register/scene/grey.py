"""One number per pixel in which noise is about even, at several sizes.

Photon noise grows with the root of the light, so the root of the light has about the same noise
everywhere (M. S. Bartlett, "The square root transformation in analysis of variance", JRSS
Supplement 3 (1936), doi:10.2307/2983678). It also keeps shadows from being ruled by lamps.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance

GreyArray = npt.NDArray[np.float32]
ClearMask = npt.NDArray[np.uint8]

# registration works on copies of at most this many pixels: more costs time and gains nothing
WORKING_PIXELS = 2_000_000
# light from which on a channel counts as burnt out; codes end at 1.0, developed raw a bit below
BURNT_OUT = 0.97
# pixels about a burnt-out one that its edge has touched: the lens's and the smoothing's reach
BURN_REACH = 3
# keeps the root from magnifying the noise of reading out near black
PEDESTAL = 1e-3
# takes the finest detail away, which cannot be interpolated without moving it
SMOOTHING_PX = 1.0
# halving ends where the shorter side would fall below this
LEAST_SIDE = 120
MOST_LEVELS = 3
# 8 taps of Lagrange interpolation half-way between pixels: it moves nothing, being symmetric
HALF_WAY = (
    np.array([-5, 49, -245, 1225, 1225, -245, 49, -5], np.float32) / np.float32(2048)
)  # fmt: skip
# what the evenest tenth of blocks of pure noise has, as a share of the noise
EVENEST_TENTH = 0.89
LUMINANCE = (0.2126, 0.7152, 0.0722)


def working_factor(size: tuple[int, int], pixels: int = WORKING_PIXELS) -> int:
    """Return the whole factor by which (width, height) is to be reduced to so many pixels."""
    factor = 1
    while (size[0] // factor) * (size[1] // factor) > pixels:
        factor += 1
    return factor


@dataclass(frozen=True, eq=False)
class Grey:
    """A frame as registration looks at it.

    ``levels`` are float32 (h, w), the first of the size of the copy, each further one half of
    it; the centre of pixel x of level n lies at ``2**n * x + (2**n - 1) / 2`` of the first.
    ``clear`` is uint8 (h, w) of the first level, 0 where light is burnt out. ``noise`` is the
    standard deviation of the noise in the unsmoothed copy; ``mean_light`` and ``dim_light`` the
    mean of the luminance and the level that a tenth of the picture stays below.
    """

    levels: tuple[GreyArray, ...]
    clear: ClearMask
    noise: float
    mean_light: float
    dim_light: float
    clear_share: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the first level."""
        return self.levels[0].shape[1], self.levels[0].shape[0]


def grey_of(light: LightArray, weights: tuple[float, float, float] = LUMINANCE) -> Grey:
    """Return what registration needs of a frame's reduced light.

    Parameters
    ----------
    light : float32 (h, w, 3), linear, 1.0 being the white of the file; not changed.
    weights : the share of each channel in the luminance.
    """
    bright = luminance(light, weights)
    clear = _clear_of(light)
    mean = float(cv2.mean(bright)[0])
    dim = float(np.percentile(bright[::8, ::8], 10))
    root = _root_of(bright)
    return Grey(_levels_of(root), clear, noise_of(root), mean, dim, float(np.mean(clear)))


def grey_of_mean(bright: GreyArray, clear: ClearMask, noise: float) -> Grey:
    """Return what registration needs of a mean of several frames' luminance.

    Parameters
    ----------
    bright : float32 (h, w), linear; overwritten.
    clear : uint8 (h, w), 0 where a frame was burnt out or saw nothing.
    noise : standard deviation of the noise in its root: resampling hides it from ``noise_of``.
    """
    mean = float(cv2.mean(bright)[0])
    dim = float(np.percentile(bright[::8, ::8], 10))
    root = _root_of(bright)
    return Grey(_levels_of(root), clear, noise, mean, dim, float(np.mean(clear)))


def _root_of(bright: GreyArray) -> GreyArray:
    np.maximum(bright, 0, out=bright)
    bright += np.float32(PEDESTAL)
    return np.asarray(cv2.sqrt(bright), np.float32)


def _levels_of(root: GreyArray) -> tuple[GreyArray, ...]:
    levels = [smoothed(root)]
    while len(levels) < MOST_LEVELS and min(levels[-1].shape) // 2 >= LEAST_SIDE:
        levels.append(halved(levels[-1]))
    return tuple(levels)


def smoothed(root: GreyArray) -> GreyArray:
    """Return a level without its finest detail, float32 of the same shape."""
    return np.asarray(
        cv2.GaussianBlur(root, (0, 0), SMOOTHING_PX, borderType=cv2.BORDER_REPLICATE), np.float32
    )


def halved(level: GreyArray) -> GreyArray:
    """Return a level of half the size, means over 2 x 2 pixels."""
    height, width = level.shape[0] // 2, level.shape[1] // 2
    even = level[: 2 * height, : 2 * width]
    half = cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA)
    return np.asarray(half, np.float32)


def doubled_level(level: GreyArray) -> GreyArray:
    """Return a level at twice the size: pixel x of it lies at x / 2 of the level.

    Linear interpolation moves a wave by a share that falls with the square of its length, so
    from here the finest detail comes out four times nearer to its place.
    """
    height, width = level.shape
    fine = np.empty((2 * height, 2 * width), np.float32)
    straight = np.ones(1, np.float32)
    border = cv2.BORDER_REPLICATE
    across = cv2.sepFilter2D(level, -1, HALF_WAY, straight, anchor=(3, 0), borderType=border)
    down = cv2.sepFilter2D(level, -1, straight, HALF_WAY, anchor=(0, 3), borderType=border)
    both = cv2.sepFilter2D(across, -1, straight, HALF_WAY, anchor=(0, 3), borderType=border)
    fine[::2, ::2] = level
    fine[::2, 1::2] = across
    fine[1::2, ::2] = down
    fine[1::2, 1::2] = both
    return fine


def _clear_of(light: LightArray) -> ClearMask:
    """Return 1 where no channel is burnt out, nor near one that is, uint8 (h, w)."""
    burnt = cv2.inRange(light, (-np.inf,) * 3, (BURNT_OUT,) * 3)
    clear = np.asarray(burnt // 255, np.uint8)
    if not clear.all():
        side = 2 * BURN_REACH + 1
        clear = np.asarray(cv2.erode(clear, np.ones((side, side), np.uint8)), np.uint8)
    return clear


def noise_of(root: GreyArray) -> float:
    """Return the standard deviation of white noise in a picture, from its evenest parts.

    Notes
    -----
    The operator is blind to planes and nearly to straight edges. JPEG hides noise where nothing
    else is, so this is a lower bound for what a compressed file has on its edges.

    Source: J. Immerkaer, "Fast noise variance estimation", CVIU 64 (1996),
    doi:10.1006/cviu.1996.0060, over blocks of which the evenest tenth counts.
    """
    kernel = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32) / np.float32(6)
    detail = np.abs(cv2.filter2D(root, -1, kernel))
    side = 16
    height, width = root.shape[0] // side, root.shape[1] // side
    if min(height, width) < 2:
        return float(np.sqrt(np.pi / 2) * detail.mean())
    inner = detail[: height * side, : width * side]
    means = cv2.resize(inner, (width, height), interpolation=cv2.INTER_AREA)
    return float(np.sqrt(np.pi / 2) * np.percentile(means, 10) / EVENEST_TENTH)
