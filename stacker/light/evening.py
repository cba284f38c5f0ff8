"""How much brighter each frame is than the others, seen in what keeps still in all of them.

Frames are compared by small copies in logarithms of light, so that a gain is a difference. Up to
about half of a picture may move or change: the still part lies in one narrow peak of the
differences, what moves is spread far and wide.

Cells, pictures and gains are natural logarithms throughout: 0.01 is one per cent.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import Encoding, PixelArray, decode, look_up

LogLight = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]

# cells along the longer side of a small copy: ten thousand cells in all
LONG_SIDE_CELLS = 128
# a cell counts while no more than this share of its pixels is black or nearly burnt out: where
# noise is cut off on one side, the mean does not follow the light
CUT_OFF_SHARE = 0.02
NEARLY_BURNT = 0.95
# rows of a cell that are looked at, at least; a cell of a large picture has many more
ROWS_OF_CELL = 12
# mean light of a cell below which rounding to 8 bits shows
DARKEST_CELL = 5e-4
# fewer cells than this tell nothing about a channel
LEAST_CELLS = 40
# the reference follows slow changes of parts of the picture by a picture per so many frames
FRAMES_PER_KNOT = 8
MOST_KNOTS = 8
# share of the frames that must agree on a cell for the reference to find them
AGREEING_SHARE = 0.4
ROUNDS = 4
# standard deviation of a number rounded to whole codes, in codes: a cell may be rounded alike in
# all of its pixels
ROUNDING = 0.29
# how far the gain of a channel may lie from that of all three together
TINT_REACH = 0.3
# noise of a cell, as a share of its light, below which no cell is trusted more than others
LEAST_NOISE = 1e-3
# the same before any is known
FIRST_NOISE = 0.05
# the first look at differences: a histogram of this reach and step
REACH, STEP = 3.0, 0.004
# where the biweight ends, in standard deviations; smaller than the usual 4.685, as what moves
# lies on one side more often than not
BIWEIGHT_REACH = 3.0
# squares along the longer side that tell two halves of a picture apart: large ones, since what
# moves is large, and would disturb both halves of a fine pattern alike
HALF_SQUARES = 4


def cells_factor(size: tuple[int, int]) -> int:
    """Return the pixels along a cell's side for a picture of (width, height)."""
    return max(1, round(max(size) / LONG_SIDE_CELLS))


def log_cells(pixels: PixelArray, encoding: Encoding, factor: int) -> LogLight:
    """Return the log of the light of cells, float32 (h, w, C); NaN where it cannot be trusted.

    Parameters
    ----------
    pixels : (H, W, C) in the given encoding, three channels or one; not changed.
    factor : pixels along a cell's side. Rows and columns beyond the last whole cell are left out.
    """
    rows, columns = pixels.shape[0] // factor, pixels.shape[1] // factor
    light = np.empty((rows, columns, pixels.shape[2]), np.float32)
    cut_off = np.empty(light.shape, np.uint8)
    step = max(1, factor // ROWS_OF_CELL)
    for row in range(rows):
        band = pixels[row * factor : (row + 1) * factor : step, : columns * factor]
        for values, means in (
            (decode(band, encoding), light),
            (_at_an_end(band, encoding), cut_off),
        ):
            out = means[row : row + 1]
            small = cv2.resize(values, (columns, 1), interpolation=cv2.INTER_AREA)
            # of one channel the library makes no axis
            out[...] = small.reshape(out.shape)
    trusted = (cut_off <= CUT_OFF_SHARE * 255) & (light > DARKEST_CELL)
    return np.log(light, out=np.full(light.shape, np.nan, np.float32), where=trusted)


def _at_an_end(pixels: PixelArray, encoding: Encoding) -> npt.NDArray[np.uint8]:
    """Return 255 where pixels are black or nearly burnt out, 0 elsewhere, same shape."""
    light = pixels if encoding.is_light else encoding.table()
    ends = np.where((light <= 0) | (light >= NEARLY_BURNT), 255, 0).astype(np.uint8)
    return ends if encoding.is_light else look_up(pixels, ends)


def rounding_noise(cells: LogLight, encoding: Encoding) -> LogLight:
    """Return the standard deviation that rounding to codes gives cells, relative, same shape."""
    if encoding.is_light:
        return np.zeros_like(cells)
    light = np.exp(cells)
    step = encoding.curve.to_light(encoding.curve.from_light(light) + 1 / encoding.top) - light
    return np.asarray(ROUNDING * step / light, np.float32)


def robust_centre(
    values: npt.NDArray[np.float32], noise: npt.NDArray[np.float32], *, near: float | None = None
) -> float:
    """Return where most of the values lie; NaN where too few are known.

    Parameters
    ----------
    values : float32 (N,), NaN where not known.
    noise : float32 (N,), the standard deviation of each value while nothing moves.
    near : a value from which the centre lies no farther than ``TINT_REACH``, where known.

    Notes
    -----
    The highest peak of the weighted histogram, smoothed to the width of the noise, is made
    precise by the biweight. So even more than half of the values may lie elsewhere, as long as
    they do not agree among themselves.

    Source: Beaton and Tukey, "The fitting of power series", Technometrics 16 (1974),
    doi:10.1080/00401706.1974.10489171 (biweight).
    """
    known = np.isfinite(values)
    middle, reach = (0.0, REACH) if near is None else (near, TINT_REACH)
    known &= np.abs(values - middle) < reach
    if np.count_nonzero(known) < LEAST_CELLS:
        return float("nan")
    x, sigma = values[known].astype(np.float64), noise[known].astype(np.float64)
    weight = 1.0 / sigma**2
    centre = middle + _highest_peak(x - middle, weight, float(np.median(sigma)))
    for _ in range(30):
        u = (x - centre) / (BIWEIGHT_REACH * sigma)
        inner = np.maximum(0.0, 1.0 - u * u)
        held = weight * inner * inner
        total = held.sum()
        if total == 0:
            break
        moved = float((held * (x - centre)).sum() / total)
        centre += moved
        if abs(moved) < 1e-6:
            break
    return centre


def _highest_peak(x: FloatArray, weight: FloatArray, width: float) -> float:
    place = ((x + REACH) / STEP).astype(np.int64)
    histogram = np.bincount(place, weight, minlength=round(2 * REACH / STEP))
    spread = max(width / STEP, 1.5)
    taps = np.arange(-int(4 * spread) - 1, int(4 * spread) + 2)
    smooth = np.convolve(histogram, np.exp(-0.5 * (taps / spread) ** 2), mode="same")
    return float((np.argmax(smooth) + 0.5) * STEP - REACH)


def channel_centres(difference: LogLight, noise: LogLight) -> FloatArray:
    """Return the robust centre of each channel of (..., C), float64 (C,); NaN where not known.

    All are looked at together first: the peak is surer, and a channel with little light does not
    stray from the others.
    """
    channels = difference.shape[-1]
    together = robust_centre(difference.ravel(), noise.ravel())
    if channels == 1 or np.isnan(together):
        return np.full(channels, together)
    return np.array(
        [
            robust_centre(difference[..., c].ravel(), noise[..., c].ravel(), near=together)
            for c in range(channels)
        ]
    )


@dataclass(frozen=True, eq=False)
class StillReference:
    """The burst in one light, as far as it keeps still.

    Parameters
    ----------
    knots_s : float64 (K,), times in seconds, rising.
    pictures : float32 (K, h, w, 3), log light at these times, the changes common to the whole
        picture taken out; NaN where not known.
    noise : float32 (h, w, 3), the standard deviation of a frame's cell about the pictures.
    """

    knots_s: FloatArray
    pictures: npt.NDArray[np.float32]
    noise: npt.NDArray[np.float32]

    def at(self, time_s: float) -> LogLight:
        """Return the picture at a time, float32 (h, w, 3)."""
        if len(self.knots_s) == 1:
            return np.asarray(self.pictures[0])
        place = float(np.interp(time_s, self.knots_s, np.arange(len(self.knots_s))))
        first = min(int(place), len(self.knots_s) - 2)
        share = np.float32(place - first)
        return np.asarray(
            self.pictures[first] + share * (self.pictures[first + 1] - self.pictures[first])
        )

    def gains_of(self, cells: LogLight, time_s: float) -> FloatArray:
        """Return how much brighter a frame is, float64 (3,): NaN for a channel that is unknown."""
        return channel_centres(cells - self.at(time_s), self.noise)

    def halves_of(self, cells: LogLight, time_s: float) -> FloatArray:
        """Return the same from either half of the cells, squares in turn, float64 (2, 3)."""
        h, w = cells.shape[:2]
        side = max(1, max(h, w) // HALF_SQUARES)
        squares = np.add.outer(np.arange(h) // side, np.arange(w) // side)
        difference = cells - self.at(time_s)
        halves = [squares % 2 == half for half in range(2)]
        return np.stack([channel_centres(difference[h], self.noise[h]) for h in halves])


def still_reference(
    frames: Sequence[LogLight], times_s: Sequence[float], encoding: Encoding
) -> StillReference:
    """Return what the frames have in common while their gains are taken out.

    Parameters
    ----------
    frames : float32 (h, w, 3) log light each, in order of time.
    times_s : when they were taken.
    encoding : that of the frames the cells were made from.
    """
    stack = np.stack(frames)
    times = np.array(times_s, np.float64)
    gains = _chained(stack)
    reference = _reference(stack, times, gains, encoding)
    for _ in range(ROUNDS - 1):
        for number, frame in enumerate(frames):
            found = reference.gains_of(frame, times[number])
            gains[number] = np.where(np.isfinite(found), found, gains[number])
        reference = _reference(stack, times, gains, encoding)
    return reference


def _chained(stack: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return first gains, float32 (N, 3): the steps from each frame to the next, added up.

    Between neighbours little else has changed, so a lamp that is switched on, or dusk that spares
    the lamps, is not taken for a gain. What errors add up to, the reference takes out.
    """
    plain = np.full(stack.shape[1:], FIRST_NOISE, np.float32)
    gains = np.zeros((len(stack), stack.shape[-1]))
    before = 0
    for number in range(1, len(stack)):
        step = channel_centres(stack[number] - stack[before], plain)
        gains[number] = gains[before] + np.where(np.isfinite(step), step, 0.0)
        if np.isfinite(step).any():
            before = number
    return np.asarray(gains - np.median(gains, axis=0), np.float32)


def _reference(
    stack: npt.NDArray[np.float32],
    times: FloatArray,
    gains: npt.NDArray[np.float32],
    encoding: Encoding,
) -> StillReference:
    count = len(stack)
    level = stack - gains[:, None, None, :]
    knots = int(np.clip(count // FRAMES_PER_KNOT, 1, MOST_KNOTS))
    # neighbouring pictures share half of their frames
    reach = count if knots == 1 else max(2 * FRAMES_PER_KNOT, round(2 * count / knots))
    pictures, knots_s = [], []
    for knot in range(knots):
        first = int(np.clip(round((knot + 0.5) * count / knots - reach / 2), 0, count - reach))
        pictures.append(where_values_agree(level[first : first + reach]))
        knots_s.append(times[first : first + reach].mean())
    knots_array = np.array(knots_s)
    plain = np.full(stack.shape[1:], FIRST_NOISE, np.float32)
    _take_out_common(pictures, plain)
    reference = StillReference(knots_array, np.stack(pictures), plain)
    for number in range(count):
        level[number] -= reference.at(times[number])
    noise = _noise(level)
    middle = _median_of_known(reference.pictures + np.median(gains, axis=0).astype(np.float32))
    rounding = rounding_noise(middle, encoding)
    noise = np.sqrt(noise**2 + np.where(np.isfinite(rounding), rounding, 1.0) ** 2)
    return StillReference(knots_array, reference.pictures, noise.astype(np.float32))


def _take_out_common(pictures: list[npt.NDArray[np.float32]], noise: LogLight) -> None:
    """Change the pictures so that most of each is as bright as in the one before."""
    for before, picture in itertools.pairwise(pictures):
        step = channel_centres(picture - before, noise)
        picture -= np.where(np.isfinite(step), step, 0.0).astype(np.float32)


def where_values_agree(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return the centre of the narrowest span that holds two fifths of the values.

    Parameters
    ----------
    values : float32 (N, ...), NaN where not known. The result has the shape of one of them.

    Notes
    -----
    What passes by lies on one side and is spread; the median would be drawn to it before it
    makes up half of the values. The shorth with a smaller share than half: Andrews et al.,
    "Robust Estimates of Location", Princeton 1972.
    """
    count = len(values)
    agreeing = min(count, max(2, int(np.ceil(AGREEING_SHARE * count))))
    # numpy puts NaN last, and a span that reaches one has no width
    ordered = np.sort(values, axis=0)
    width = ordered[agreeing - 1 :] - ordered[: count - agreeing + 1]
    first = np.argmin(np.where(np.isnan(width), np.inf, width), axis=0)
    places = first[None] + np.arange(agreeing).reshape(-1, *[1] * first.ndim)
    return np.asarray(np.take_along_axis(ordered, places, axis=0).mean(axis=0))


def _noise(residuals: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return the standard deviation of each cell from what is left of its frames."""
    # 1.4826 times the median of absolute values: that of a normal distribution
    spread = 1.4826 * _median_of_known(np.abs(residuals))
    for c in range(spread.shape[-1]):
        known = spread[..., c][np.isfinite(spread[..., c])]
        # a few frames may agree by chance: no cell is surer than those that are rather sure
        common = max(LEAST_NOISE, float(np.quantile(known, 0.25))) if known.size else 1.0
        channel = spread[..., c]
        spread[..., c] = np.sqrt(np.where(np.isfinite(channel), channel, 1.0) ** 2 + common**2)
    return spread.astype(np.float32)


def _median_of_known(values: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Return the median over the first axis, NaN left out (numpy's own warns where all are)."""
    ordered = np.sort(values, axis=0)
    known = np.count_nonzero(np.isfinite(values), axis=0)
    places = np.stack([np.maximum(known - 1, 0) // 2, known // 2])
    places = np.minimum(places, len(values) - 1)
    return np.asarray(np.take_along_axis(ordered, places, axis=0).mean(axis=0))
