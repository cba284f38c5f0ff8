"""Finding the stars of one frame.

Source: matched filtering and local maxima as in P. B. Stetson, "DAOPHOT", PASP 99 (1987),
doi:10.1086/131977; the background from medians over a coarse grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance
from stacker.register.scene.grey import BURNT_OUT, working_factor
from stacker.register.sky.points import BoolArray, FittedPoints, Float64Array, fit_points

GreyArray = npt.NDArray[np.float32]
IntArray = npt.NDArray[np.intp]

# a peak must rise above the background by so many standard deviations of the filtered picture
THRESHOLD = 5.0
# side of the cells whose medians make the background, px: wider than stars, finer than clouds
CELL_PX = 32
# every pixel of so many along a row counts for a cell's figures: a quarter of the time, and enough
SAMPLED = 2
# the filter and the fit's start; most lenses and focuses give 0.6 to 1.2
WIDTH_PX = 0.9
# stars wider than this are filtered and fitted anew with their own width
WIDE_PX = 1.6
WIDEST_PX = 5.0
# peaks fitted at most, spread evenly over the frame: more do not tell more about its motion
MOST_PEAKS = 900
MOST_STARS = 500
# Larger frames are reduced to at most this many pixels: their stars are wide enough for it, and
# looking at a frame takes 22 bytes of memory and 28 ns for each pixel.
WORKING_PIXELS = 8_000_000
# parts of the frame, along its longer side, that share the peaks
SHARES = 8
# narrower than any lens draws: a hot pixel (a star of 1.2 px full width has 0.58, and
# the most undersampled of real skies tried 0.45 across)
POINT_PX = 0.38
# a point this much wider or longer than the frame's typical star is a lamp's glow or a streak
TOO_WIDE = 2.5
# places less certain than this do not help
WORST_ERROR_PX = 0.5
# stars among which the typical width is found: the brightest that are not burnt out
TYPICAL_OF = 80


@dataclass(frozen=True, eq=False)
class StarList:
    """The stars of a frame, brightest first; all that is kept of it.

    ``place`` float64 (N, 2) in px of the picture handed in, ``error_px`` (N,) the standard
    deviation of each coordinate, ``height`` (N,) above the background in linear light, ``long``
    and ``wide`` (N,) the standard deviations along and across. ``typical`` is the middle of
    (long, wide), ``background`` the middle of the luminance, ``noise`` its standard deviation.
    """

    place: Float64Array
    error_px: Float64Array
    height: Float64Array
    long: Float64Array
    wide: Float64Array
    typical: tuple[float, float]
    background: float
    noise: float

    def __len__(self) -> int:
        return len(self.place)

    def chosen(self, keep: BoolArray | IntArray) -> StarList:
        """Return the stars that ``keep`` names, by mask or number."""
        return StarList(
            self.place[keep], self.error_px[keep], self.height[keep], self.long[keep],
            self.wide[keep], self.typical, self.background, self.noise,
        )  # fmt: skip


def sky_factor(size: tuple[int, int]) -> int:
    """Return the whole factor by which (width, height) is to be reduced for finding stars."""
    return working_factor(size, WORKING_PIXELS)


def find_stars(light: LightArray, weights: tuple[float, float, float]) -> StarList:
    """Return the stars of a frame, and what looks like stars: hot pixels that the lens of a raw
    developer blurred, lamps, parts of a plane's track.

    Parameters
    ----------
    light : float32 (H, W, 3), linear, 1.0 being white; not changed.
    weights : the share of each channel in the luminance.
    """
    grey = luminance(light, weights)
    level, noise = _background(grey)
    middle, usual_noise = float(np.median(level)), float(np.median(noise))
    width, reach = WIDTH_PX, 3
    fitted, peaks = _measure(light, grey, level, width, reach)
    typical = _typical(fitted)
    if typical[0] > WIDE_PX:
        width = min(typical[0], WIDEST_PX)
        reach = int(np.ceil(2.5 * width))
        fitted, peaks = _measure(light, grey, level, width, reach)
        typical = _typical(fitted)
    keep = (
        fitted.ok
        & (fitted.wide > POINT_PX)
        & (fitted.wide < TOO_WIDE * max(typical[1], POINT_PX))
        & (fitted.long < TOO_WIDE * max(typical[0], POINT_PX))
        & (fitted.error_px < WORST_ERROR_PX)
    )
    order = np.flatnonzero(keep)
    order = order[np.argsort(-fitted.height[order], kind="stable")]
    found = StarList(
        peaks[order] + fitted.place[order], fitted.error_px[order], fitted.height[order],
        fitted.long[order], fitted.wide[order], typical, middle, usual_noise,
    )  # fmt: skip
    return found.chosen(_evenly(found.place, light.shape, MOST_STARS))


def _background(grey: GreyArray) -> tuple[GreyArray, GreyArray]:
    """Return background and noise of cells, float32 (rows, columns)."""
    height, width = grey.shape
    rows, columns = max(1, height // CELL_PX), max(1, width // CELL_PX)
    level = np.empty((rows, columns), np.float32)
    noise = np.empty((rows, columns), np.float32)
    for row in range(rows):
        bottom = height if row == rows - 1 else (row + 1) * CELL_PX
        band = grey[row * CELL_PX : bottom, ::SAMPLED]
        inner = band[:, : columns * CELL_PX // SAMPLED]
        side = inner.shape[1] // columns
        cells = inner[:, : side * columns].reshape(len(band), columns, side).transpose(1, 0, 2)
        low, middle = np.percentile(cells.reshape(columns, -1), [25, 50], axis=1)
        level[row] = middle
        # the lower quartile knows nothing of stars; 0.6745 of a standard deviation below
        noise[row] = (middle - low) / 0.6745
    return level, noise


def _measure(
    light: LightArray, grey: GreyArray, level: GreyArray, width: float, reach: int
) -> tuple[FittedPoints, Float64Array]:
    """Return the points of light about the peaks, and the peaks (N, 2) as (x, y)."""
    peaks = _peaks(grey, level, width, reach)
    offset = np.arange(-reach, reach + 1)
    rows = peaks[:, 1, None, None] + offset[:, None]
    columns = peaks[:, 0, None, None] + offset
    clear = light[rows, columns].max(axis=-1) < BURNT_OUT
    patches = grey[rows, columns].astype(np.float64)
    return fit_points(patches, clear, width), peaks.astype(np.float64)


def find_peaks(
    light: LightArray, weights: tuple[float, float, float], width_px: float, *,
    threshold: float, most: int,
) -> tuple[Float64Array, Float64Array]:  # fmt: skip
    """Return the places (N, 2), to a fraction of a pixel, where a frame's light peaks, and how
    far each rises above the background (N,), in standard deviations after the filter.

    Much quicker than ``find_stars`` for many faint points, and less sure of each.

    Parameters
    ----------
    light : float32 (H, W, 3), linear, 1.0 being white; not changed.
    weights : the share of each channel in the luminance.
    width_px : standard deviation of the filter.
    threshold : how far peaks rise above the background, in standard deviations after the filter.
    most : peaks returned at most, spread evenly over the frame.
    """
    grey = luminance(light, weights)
    smooth, noise = _filtered(grey, _background(grey)[0], width_px)
    peaks = _peaks_of(smooth, noise, width_px, 1, threshold, most)
    x, y = peaks.T
    place = peaks.astype(np.float64)
    for axis, (across, down) in enumerate(((1, 0), (0, 1))):
        before, after = smooth[y - down, x - across], smooth[y + down, x + across]
        # the top of a parabola through three pixels
        bend = np.minimum(before + after - 2 * smooth[y, x], -1e-12)
        place[:, axis] += np.clip((before - after) / (2 * bend), -0.5, 0.5)
    return place, np.asarray(smooth[y, x] / noise[y, x], np.float64)


def _filtered(grey: GreyArray, level: GreyArray, width: float) -> tuple[GreyArray, GreyArray]:
    """Return the picture less its background, filtered, and its noise then."""
    size = (grey.shape[1], grey.shape[0])
    rest = grey - cv2.resize(level, size, interpolation=cv2.INTER_LINEAR)
    smooth = cv2.GaussianBlur(rest, (0, 0), width, borderType=cv2.BORDER_REPLICATE)
    # the noise after the filter is measured, as that of compressed files is not white
    _, filtered = _background(np.asarray(smooth, np.float32))
    # cells of a single code, as black ground, have no spread; a tenth of the usual is the least
    least = max(0.1 * float(np.median(filtered)), 1e-6)
    limit = cv2.resize(np.maximum(filtered, least), size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(smooth, np.float32), np.asarray(limit, np.float32)


def _peaks(grey: GreyArray, level: GreyArray, width: float, reach: int) -> IntArray:
    """Return places (x, y) where the filtered picture peaks, brightest first, (N, 2)."""
    smooth, noise = _filtered(grey, level, width)
    return _peaks_of(smooth, noise, width, reach, THRESHOLD, MOST_PEAKS)


def _peaks_of(
    smooth: GreyArray, noise: GreyArray, width: float, reach: int, threshold: float, most: int
) -> IntArray:
    side = 2 * max(1, round(width)) + 1
    top = cv2.dilate(smooth, np.ones((side, side), np.uint8))
    found = (smooth >= top) & (smooth > np.float32(threshold) * noise)
    inner = np.zeros_like(found)
    inner[reach + 1 : -reach - 1, reach + 1 : -reach - 1] = True
    y, x = np.nonzero(found & inner)
    order = np.argsort(-smooth[y, x], kind="stable")
    peaks = np.stack([x[order], y[order]], axis=1)
    return peaks[_evenly(peaks.astype(np.float64), smooth.shape, most)]


def _typical(fitted: FittedPoints) -> tuple[float, float]:
    """Return the middle standard deviations along and across, of the well fitted points."""
    good = np.flatnonzero(fitted.ok & (fitted.wide > POINT_PX) & (fitted.error_px < 0.2))
    if len(good) == 0:
        return WIDTH_PX, WIDTH_PX
    good = good[np.argsort(-fitted.height[good], kind="stable")][:TYPICAL_OF]
    return float(np.median(fitted.long[good])), float(np.median(fitted.wide[good]))


def _evenly(place: Float64Array, shape: tuple[int, ...], most: int) -> IntArray:
    """Return numbers of at most ``most`` of the places, brightest first as they come, such that
    no part of the frame takes all."""
    if len(place) <= most:
        return np.arange(len(place))
    side = max(shape[0], shape[1]) / SHARES
    part = (place[:, 1] // side).astype(int) * SHARES + (place[:, 0] // side).astype(int)
    order = np.argsort(part, kind="stable")
    start = np.searchsorted(part[order], part[order], side="left")
    rank = np.empty(len(place), int)
    rank[order] = np.arange(len(place)) - start
    # the brightest of each part come first, then the second brightest, and so on
    chosen = np.argsort(rank, kind="stable")[:most]
    return np.sort(chosen)
