"""Where the greatest of many noisy values stands clear of the noise.

The greatest of N values with noise lies above their mean even where nothing shone: by about
``sigma sqrt(2 ln N)``. How far it lies there is read off the picture itself. Among pixels of
equal mean light, and then among neighbours, the smallest excesses are those of noise alone,
whatever passed over the others; their quantiles give the place and the spread of that noise.
An excess so measured becomes the normal deviate of its rank, so that excesses can be averaged
over the three channels and along short lines in eight directions, as streaks lie. What such an
average stands above the averages of noise is the evidence that light was there.

Sources: H. A. David, H. N. Nagaraja, "Order Statistics", 2003 (the greatest of N values); the
sum of normal scores is van der Waerden's (B. L. van der Waerden, "Order tests for the two-sample
problem", Proc. Kon. Ned. Akad. Wetensch. A 55, 1952); averaging along lines before deciding is
the matched filter for thin streaks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.normal_maximum import (
    LOWEST_DEVIATE,
    STEPS_PER_DEVIATE,
    MaximumOfNormals,
    coded,
)
from stacker.light.buffers import zeros
from stacker.light.encoding import CODE_MAX, LightArray

# the mean light and the greatest light of some rows, each float32 (rows, W, 3)
ReadRows = Callable[[range], tuple[LightArray, LightArray]]

# shares of the excesses, from below, by which noise is told; low, so that light that passed over
# three quarters of the pixels leaves the lower of them alone
LOW_SHARE, HIGH_SHARE = 0.05, 0.25
# pixels that are looked at to learn the noise
SAMPLE_PIXELS = 600_000
# bins of mean light per doubling, and the samples without which a bin says nothing
BINS_PER_STOP, LEAST_IN_BIN = 4, 300
DARKEST = 2.0**-20
# the noise of photons grows with the square root of light; a camera's curve adds to that
NOISE_GROWTH = 0.75
# rounding of light in float32 and on the grid of the mean is no noise
LEAST_SPREAD, LEAST_SPREAD_SHARE = 1e-6, 1e-4
# neighbours whose noise is taken as alike: a side of a tile in samples
TILE_SAMPLES = 32
# noise of a tile over that of its brightness anywhere: corners brightened by a lens profile
TILE_FACTORS = (0.7, 2.0)
# a star's or a lamp's streak is straight over so many pixels
LINE_PIXELS, DIRECTIONS = 7, 8
# rows worked on at a time
BLOCK_ROWS = 32
# blocks from which the averages of noise along lines are learnt
LEARNING_BLOCKS = 16
# what place and spread noise can have, in deviates: of averages along a line, from 21 values that
# have nothing to do with each other to 21 that are the same; of the greatest of eight of those
# (its lower sixth in a tile, and from there)
AVERAGE_NOISE = ((-0.5, 0.5), (0.15, 1.0))
LOCAL_EVIDENCE = (0.0, 1.5)
EVIDENCE_NOISE = ((0.0, 1.5), (0.3, 1.0))
# evidence, in spreads of what noise gives, from which and up to which the greatest takes over
EVIDENCE = (3.5, 6.0)
# and the pixel's own score, so that the noise beside a streak is not lifted with it
OWN_SCORE = (0.0, 1.2)
# normal deviates of the shares by which the spread of noise is told from its lower side
LOWER_SHARES, LOWER_DEVIATES = (0.02, 0.16), (-2.0537, -0.9945)

THIRDS = np.full((1, 3), 1 / 3, np.float32)

ByteArray = npt.NDArray[np.uint8]
FloatArray = npt.NDArray[np.float32]
Limits = tuple[float, float]


@dataclass(frozen=True)
class LevelNoise:
    """What the excess of the greatest value is where nothing shone, by mean light.

    ``place`` and ``per_spread``, float32 (65536, 3): for each 65535th of mean light and each
    channel the excess that a share ``LOW_SHARE`` of pixels stays below, and one over the standard
    deviation of one value that the spread of the excesses stands for.
    """

    place: FloatArray
    per_spread: FloatArray


def clearance(read: ReadRows, size: tuple[int, int], distribution: MaximumOfNormals) -> ByteArray:
    """Return how much of the greatest value to keep at each pixel, uint8 (H, W), 255 for all.

    Parameters
    ----------
    read : gives the mean and the greatest light of a range of rows.
    size : (width, height) in pixels.
    distribution : how the greatest lies above the mean for the number of frames.
    """
    width, height = size
    step = max(1, round((width * height / SAMPLE_PIXELS) ** 0.5))
    mean, excess = _sampled(read, height, step)
    noise = learn_level_noise(mean, excess, distribution)
    factor = TileMap(_tile_factors(mean, excess, noise), size)
    scores = zeros((height, width), np.uint8)
    low = distribution.quantile(LOW_SHARE)
    for rows in _blocks(height):
        light, greatest = read(rows)
        relative = _relative(light, greatest - light, noise, factor.rows(rows))
        relative += np.float32(low)
        cv2.transform(distribution.scores(relative), THIRDS, dst=scores[_slice(rows)])
    evidence = _along_lines(scores, step)
    return _handed_over(evidence, scores, step)


def _sampled(read: ReadRows, height: int, step: int) -> tuple[LightArray, LightArray]:
    """Return mean and excess of every ``step``-th pixel of every ``step``-th row."""
    means, excesses = [], []
    for row in range(0, height, step):
        mean, greatest = read(range(row, row + 1))
        means.append(mean[:, ::step].copy())
        excesses.append(greatest[:, ::step] - means[-1])
    return np.concatenate(means), np.concatenate(excesses)


def learn_level_noise(
    mean: LightArray, excess: LightArray, distribution: MaximumOfNormals
) -> LevelNoise:
    """Return the excess of noise by mean light, from pixels of which some may hold more.

    Parameters
    ----------
    mean, excess : float32 (h, w, 3).
    """
    low = distribution.quantile(LOW_SHARE)
    apart = distribution.quantile(HIGH_SHARE) - low
    levels = np.arange(CODE_MAX + 1) / CODE_MAX
    floor = LEAST_SPREAD + LEAST_SPREAD_SHARE * levels
    place = np.empty((CODE_MAX + 1, 3), np.float32)
    per_spread = np.empty_like(place)
    for channel in range(3):
        centres, lows, highs = _quantiles_by_level(mean[..., channel], excess[..., channel])
        lows = _at_most_as_noise_grows(centres, lows)
        highs = _at_most_as_noise_grows(centres, highs)
        stops = np.log2(np.maximum(levels, DARKEST))
        place[:, channel] = np.interp(stops, centres, lows)
        highest = np.interp(stops, centres, highs)
        spread = np.maximum((highest - place[:, channel]) / apart, floor)
        per_spread[:, channel] = 1 / spread
    return LevelNoise(place, per_spread)


def _at_most_as_noise_grows(levels: list[float], values: list[float]) -> list[float]:
    """Return values by level, in stops, cut to what the noise of darker levels can grow to.

    A bright streak raises the mean where it passed: in a dark sky those pixels have a level all
    to themselves, and must not be taken for a sample of its noise. Light that was twice as strong
    has at most ``2 ** NOISE_GROWTH`` times the noise.
    """
    kept: list[float] = []
    limit = math.inf
    for place, (level, value) in enumerate(zip(levels, values, strict=True)):
        if place:
            limit *= 2.0 ** (NOISE_GROWTH * (level - levels[place - 1]))
        limit = min(limit, value) if value > LEAST_SPREAD else limit
        kept.append(min(value, limit))
    return kept


def _quantiles_by_level(
    mean: LightArray, excess: LightArray
) -> tuple[list[float], list[float], list[float]]:
    """Return bin centres in stops of light, and the low and high quantile of the excess there."""
    stops = np.log2(np.maximum(mean.reshape(-1), np.float32(DARKEST)))
    bins = np.floor(stops * BINS_PER_STOP).astype(np.int32)
    order = np.argsort(bins, kind="stable")
    excess = excess.reshape(-1)[order]
    numbers, starts = np.unique(bins[order], return_index=True)
    ends = [*starts[1:], len(order)]
    enough = [k for k in range(len(numbers)) if ends[k] - starts[k] >= LEAST_IN_BIN]
    if not enough:
        lows, highs = np.quantile(excess, [LOW_SHARE, HIGH_SHARE])
        return [0.0], [float(lows)], [float(highs)]
    found = [np.quantile(excess[starts[k] : ends[k]], [LOW_SHARE, HIGH_SHARE]) for k in enough]
    centres = [(float(numbers[k]) + 0.5) / BINS_PER_STOP for k in enough]
    return centres, [float(f[0]) for f in found], [float(f[1]) for f in found]


def _relative(
    mean: LightArray, excess: LightArray, noise: LevelNoise, factor: FloatArray
) -> LightArray:
    """Return how many standard deviations an excess lies above the low quantile of noise.

    Parameters
    ----------
    factor : float32 (h, w), how much stronger the noise is than elsewhere at that mean light.
    """
    weaker = 1 / factor
    out = excess * cv2.merge([weaker, weaker, weaker])
    level = _level_index(mean)
    out -= _by_level(level, noise.place)
    out *= _by_level(level, noise.per_spread)
    return np.asarray(out, np.float32)


def _level_index(mean: LightArray) -> npt.NDArray[np.uint16]:
    level = np.clip(mean, 0, 1)
    level *= np.float32(CODE_MAX)
    return level.astype(np.uint16)


def _by_level(level: npt.NDArray[np.uint16], table: FloatArray) -> FloatArray:
    """Return a channel's value at each level, float32 (h, w, 3)."""
    # OpenCV takes a table with a row of channels for each code
    return np.asarray(cv2.LUT(level, table[np.newaxis]), np.float32)


def _tile_factors(mean: LightArray, excess: LightArray, noise: LevelNoise) -> FloatArray:
    """Return how much stronger noise is in each tile than at the same mean light anywhere."""
    place = _by_level(_level_index(mean), noise.place)
    ratio = np.ones(excess.shape, np.float32)
    np.divide(excess, place, out=ratio, where=place > LEAST_SPREAD)
    return _smooth(np.clip(_tile_quantile(ratio, LOW_SHARE), *TILE_FACTORS))


def _tile_edges(length: int) -> list[int]:
    tiles = max(1, length // TILE_SAMPLES)
    return [k * length // tiles for k in range(tiles + 1)]


def _tile_quantile(values: FloatArray, share: float) -> FloatArray:
    """Return the quantile of the values in each tile, float32 (rows, columns) of tiles."""
    tops, lefts = _tile_edges(values.shape[0]), _tile_edges(values.shape[1])
    tiles = np.empty((len(tops) - 1, len(lefts) - 1), np.float32)
    for i, j in np.ndindex(tiles.shape):
        tile = values[tops[i] : tops[i + 1], lefts[j] : lefts[j + 1]].reshape(-1)
        # of the two neighbours of the quantile the lower one: no need of more
        place = int(share * (tile.size - 1))
        tiles[i, j] = np.partition(tile, place)[place]
    return tiles


def _smooth(tiles: FloatArray) -> FloatArray:
    return np.asarray(cv2.blur(tiles, (3, 3), borderType=cv2.BORDER_REPLICATE), np.float32)


class TileMap:
    """A value per pixel from one per tile, bilinear between the tiles' centres."""

    def __init__(self, tiles: FloatArray, size: tuple[int, int]) -> None:
        self.tiles = tiles
        self.width, self.height = size

    def rows(self, rows: range) -> FloatArray:
        """Return the values of some rows, float32 (h, W)."""
        places = (np.arange(rows.start, rows.stop) + 0.5) * len(self.tiles) / self.height - 0.5
        places = np.clip(places, 0, len(self.tiles) - 1)
        upper = places.astype(int)
        lower = np.minimum(upper + 1, len(self.tiles) - 1)
        share = (places - upper)[:, np.newaxis]
        between = self.tiles[upper] * (1 - share) + self.tiles[lower] * share
        wide = cv2.resize(between.astype(np.float32), (self.width, len(rows)))
        return np.asarray(wide, np.float32)


def _slice(rows: range) -> slice:
    return slice(rows.start, rows.stop)


def _blocks(height: int) -> Iterator[range]:
    for top in range(0, height, BLOCK_ROWS):
        yield range(top, min(top + BLOCK_ROWS, height))


def line_kernels() -> list[FloatArray]:
    """Return averages along a short line through the centre, one per direction, float32 (7, 7)."""
    half = LINE_PIXELS // 2
    rows, columns = np.mgrid[-half : half + 1, -half : half + 1]
    kernels = []
    for number in range(DIRECTIONS):
        angle = np.pi * number / DIRECTIONS
        kernel = np.zeros((LINE_PIXELS, LINE_PIXELS))
        for along in np.linspace(-half, half, 4 * LINE_PIXELS - 3):
            # each point of the line is shared out bilinearly
            dx = np.abs(columns - along * np.cos(angle))
            dy = np.abs(rows - along * np.sin(angle))
            kernel += np.maximum(1 - dx, 0) * np.maximum(1 - dy, 0)
        kernels.append((kernel / kernel.sum()).astype(np.float32))
    return kernels


def _along_lines(scores: ByteArray, step: int) -> ByteArray:
    """Return for each pixel the greatest average along a line, each direction's noise at 0 +- 1.

    That noise is learnt from every ``step``-th pixel of some blocks. Deviates are coded.
    """
    kernels = line_kernels()
    blocks = list(_blocks(scores.shape[0]))
    learning = blocks[:: math.ceil(len(blocks) / LEARNING_BLOCKS)]
    averages: list[list[FloatArray]] = [[] for _ in kernels]
    for rows in learning:
        for number, average in enumerate(_averages(scores, rows, kernels)):
            averages[number].append(average[::step, ::step].ravel())
    norms = [_noise_of(np.concatenate(found), *AVERAGE_NOISE) for found in averages]
    out = zeros(scores.shape, np.uint8)
    for rows in blocks:
        best = np.full((len(rows), scores.shape[1]), LOWEST_DEVIATE, np.float32)
        found = _averages(scores, rows, kernels)
        for average, (place, spread) in zip(found, norms, strict=True):
            average -= np.float32(place)
            average *= np.float32(1 / spread)
            np.maximum(best, average, out=best)
        out[_slice(rows)] = coded(best)
    return out


def _averages(scores: ByteArray, rows: range, kernels: list[FloatArray]) -> Iterator[FloatArray]:
    """Yield some rows averaged by each kernel; beyond the picture there is neither light nor noise.

    A mirrored edge would count its noise twice.
    """
    half = LINE_PIXELS // 2
    top, bottom = max(0, rows.start - half), min(scores.shape[0], rows.stop + half)
    # five times faster on floats than on bytes; the border is 0, the deviate that says nothing
    block = scores[top:bottom].astype(np.float32)
    block -= np.float32(_code_of(0.0))
    for kernel in kernels:
        filtered = cv2.filter2D(block, -1, kernel, borderType=cv2.BORDER_CONSTANT)
        yield np.asarray(filtered[rows.start - top : rows.stop - top], np.float32)


def _noise_of(values: FloatArray, places: Limits, spreads: Limits) -> tuple[float, float]:
    """Return mean and standard deviation of the noise in coded values, some raised by light.

    Where light raised nearly all of them, as surf that fills the picture, the limits, in
    deviates, are what noise alone could give.
    """
    low, high = np.quantile(values, LOWER_SHARES)
    spread = float(high - low) / (LOWER_DEVIATES[1] - LOWER_DEVIATES[0])
    spread = min(max(spread, spreads[0] * STEPS_PER_DEVIATE), spreads[1] * STEPS_PER_DEVIATE)
    place = float(high) - LOWER_DEVIATES[1] * spread
    return min(max(place, places[0] * STEPS_PER_DEVIATE), places[1] * STEPS_PER_DEVIATE), spread


def _handed_over(evidence: ByteArray, scores: ByteArray, step: int) -> ByteArray:
    """Return the share of the greatest value to keep, in the place of the evidence."""
    height, width = evidence.shape
    sample = evidence[::step, ::step].astype(np.float32)
    # what noise gives, here and there: tiles take up what their factors left
    local = _smooth(_tile_quantile(sample, LOWER_SHARES[1]))
    local = np.clip(local, _code_of(LOCAL_EVIDENCE[0]), _code_of(LOCAL_EVIDENCE[1]))
    sample -= TileMap(local, (sample.shape[1], sample.shape[0])).rows(range(len(sample)))
    place, spread = _noise_of(sample, *EVIDENCE_NOISE)
    places = TileMap(local, (width, height))
    own_start, own_end = (_code_of(score) for score in OWN_SCORE)
    for rows in _blocks(height):
        block = evidence[_slice(rows)]
        clear = (block - places.rows(rows) - np.float32(place)) * np.float32(1 / spread)
        kept = _smooth_step(clear, *EVIDENCE)
        kept *= _smooth_step(scores[_slice(rows)], own_start, own_end)
        block[:] = np.rint(kept * 255)
    return evidence


def _code_of(deviate: float) -> float:
    return (deviate - LOWEST_DEVIATE) * STEPS_PER_DEVIATE


def _smooth_step(values: FloatArray | ByteArray, start: float, end: float) -> FloatArray:
    """Return 0 below ``start``, 1 above ``end``, and a smooth rise between."""
    t = np.clip((values - np.float32(start)) * np.float32(1 / (end - start)), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)
