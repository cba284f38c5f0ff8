"""How things flow at each place of the picture all through the burst.

A river, a fall, a lane of a road flow the same way in every frame. So the correlations of all
pairs of neighbouring frames are added up before the highest peak is looked for: what is there by
chance in one pair averages away, and motions of many times the texture's size are found.

Source: Meinhart, Wereley and Santiago, "A PIV algorithm for estimating time-averaged velocity
fields", Journal of Fluids Engineering 122 (2000), doi:10.1115/1.483256.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.flow.tones import Tone

Flow = npt.NDArray[np.float32]
Tiles = npt.NDArray[np.float32]

# cells along the longer side of the copies looked at: first for far motion, then for its detail
COARSE_SIDE, FINE_SIDE = 256, 512
# side of a tile in the earlier frame, and how far it is looked for in the later one, in cells
COARSE_TILE, COARSE_REACH = 40, 28
FINE_TILE, FINE_REACH = 24, 8
# tiles are this far apart, in cells
COARSE_STEP, FINE_STEP = 16, 12
# what is finer or coarser than this tells little of motion; deviations of Gaussians, in cells
FINEST, COARSEST = 0.8, 5.0
# correlation of a tile from which on the flow is believed, and where it counts in full
LEAST_CORRELATION, FULL_CORRELATION = 0.2, 0.45


def steady_flow(pairs: Sequence[tuple[Tone, Tone]]) -> tuple[Flow, Tone]:
    """Return the flow that most pairs share, and how far to believe it.

    Parameters
    ----------
    pairs : tones of neighbouring frames, all float32 (h, w).

    Returns
    -------
    flow : float32 (h, w, 2), how far what is at a cell has gone in the later frame, (x, y) in
        cells.
    trust : float32 (h, w), 0 to 1.
    """
    height, width = pairs[0][0].shape
    flow = np.zeros((height, width, 2), np.float32)
    trust = np.zeros((height, width), np.float32)
    for side, tile, reach, step in (
        (COARSE_SIDE, COARSE_TILE, COARSE_REACH, COARSE_STEP),
        (FINE_SIDE, FINE_TILE, FINE_REACH, FINE_STEP),
    ):
        scale = min(1.0, side / max(height, width))
        size = (max(tile, round(width * scale)), max(tile, round(height * scale)))
        small = [tuple(_textured(tone, size) for tone in pair) for pair in pairs]
        scaling = np.array([size[0] / width, size[1] / height], np.float32)
        guess = cv2.resize(flow, size, interpolation=cv2.INTER_LINEAR) * scaling
        moved, correlation = _both_ways(small, guess, tile, reach, step)
        moved, trust_of_tiles = _regular(moved, correlation)
        grown = cv2.resize(moved / scaling, (width, height), interpolation=cv2.INTER_LINEAR)
        flow = np.asarray(grown, np.float32)
        trust = np.asarray(cv2.resize(trust_of_tiles, (width, height)), np.float32)
    return flow, trust


def _textured(tone: Tone, size: tuple[int, int]) -> Tone:
    small = cv2.resize(tone, size, interpolation=cv2.INTER_AREA)
    fine = cv2.GaussianBlur(small, (0, 0), FINEST)
    return np.asarray(fine - cv2.GaussianBlur(small, (0, 0), COARSEST), np.float32)


def _both_ways(
    pairs: Sequence[tuple[Tone, ...]], guess: Flow, tile: int, reach: int, step: int
) -> tuple[Flow, Tone]:
    """Return what ``_tile_flow`` does, of where a tile goes or where it came from, the surer.

    At the edge where water leaves the picture only its past is to be seen.
    """
    gone, correlation = _tile_flow(pairs, guess, tile, reach, step)
    turned = [(later, earlier) for earlier, later in pairs]
    came, correlation_back = _tile_flow(turned, -guess, tile, reach, step)
    back = correlation_back > correlation
    flow = np.where(back[..., None], -came, gone)
    return flow, np.maximum(correlation, correlation_back)


def _tile_flow(
    pairs: Sequence[tuple[Tone, ...]], guess: Flow, tile: int, reach: int, step: int
) -> tuple[Flow, Tone]:
    """Return the shift of each tile and its correlation, (rows, columns, 2) and (rows, columns)."""
    height, width = pairs[0][0].shape
    rows, columns = max(1, round(height / step)), max(1, round(width / step))
    y = np.asarray((np.arange(rows) + 0.5) * height / rows - 0.5, np.float32)
    x = np.asarray((np.arange(columns) + 0.5) * width / columns - 0.5, np.float32)
    start = np.rint(guess[np.rint(y).astype(int)][:, np.rint(x).astype(int)])
    # Fourier transforms wrap: the room about the tile is as wide as the reach
    side = cv2.getOptimalDFTSize(tile + 2 * reach)
    window = np.zeros((side, side), np.float32)
    middle = (side - tile) // 2
    hann = np.hanning(tile + 2)[1:-1]
    window[middle : middle + tile, middle : middle + tile] = np.outer(hann, hann)
    room = (rows * columns, side, side // 2 + 1)
    spectrum, power_spectrum = np.zeros(room, np.complex64), np.zeros(room, np.complex64)
    power = np.zeros(rows * columns)
    seen = np.conj(np.fft.rfft2(window**2))
    mean = np.mean([tone for pair in pairs for tone in pair], axis=0, dtype=np.float32)
    for earlier, later in pairs:
        here = _tiles(earlier - mean, y, x, np.zeros_like(start), side) * window
        there = _tiles(later - mean, y, x, start, side)
        spectrum += np.conj(np.fft.rfft2(here)) * np.fft.rfft2(there)
        power_spectrum += np.fft.rfft2(there**2) * seen
        power += (here**2).sum(axis=(1, 2))
    sums = np.fft.irfft2(spectrum, (side, side))
    squares = np.fft.irfft2(power_spectrum, (side, side))
    floor = 0.05 * squares.mean(axis=(1, 2), keepdims=True) + 1e-12
    correlation = sums / np.sqrt((power[:, None, None] + 1e-12) * np.maximum(squares, floor))
    shift, height_of_peak = _peaks(correlation.astype(np.float32), reach)
    return start + shift.reshape(rows, columns, 2), height_of_peak.reshape(rows, columns)


def _tiles(
    tone: Tone, y: npt.NDArray[np.float32], x: npt.NDArray[np.float32], start: Flow, side: int
) -> Tiles:
    """Return squares about tile middles moved by ``start``, (tiles, side, side)."""
    height, width = tone.shape
    top = np.rint(y)[:, None] + start[..., 1] - side // 2
    left = np.rint(x)[None, :] + start[..., 0] - side // 2
    across = np.arange(side)
    rows = top.reshape(-1, 1, 1).astype(int) + across[:, None]
    columns = left.reshape(-1, 1, 1).astype(int) + across[None, :]
    inside = (rows >= 0) & (rows < height) & (columns >= 0) & (columns < width)
    values = tone[np.clip(rows, 0, height - 1), np.clip(columns, 0, width - 1)]
    return np.asarray(np.where(inside, values, 0), np.float32)


def _peaks(correlation: Tiles, reach: int) -> tuple[Flow, Tone]:
    """Return where each correlation is highest, to a part of a cell, and how high."""
    shifted = np.roll(correlation, (reach, reach), axis=(1, 2))[:, : 2 * reach + 1, : 2 * reach + 1]
    span = 2 * reach + 1
    inner = shifted[:, 1:-1, 1:-1].reshape(len(shifted), -1)
    best = inner.argmax(axis=1)
    row, column = best // (span - 2) + 1, best % (span - 2) + 1
    number = np.arange(len(shifted))
    top = shifted[number, row, column]
    parts = []
    for before, after in (
        (shifted[number, row, column - 1], shifted[number, row, column + 1]),
        (shifted[number, row - 1, column], shifted[number, row + 1, column]),
    ):
        bend = np.maximum(2 * top - before - after, 1e-9)
        parts.append(np.clip(0.5 * (after - before) / bend, -0.5, 0.5))
    shift = np.stack([column - reach + parts[0], row - reach + parts[1]], axis=-1)
    return shift.astype(np.float32), top.astype(np.float32)


def _regular(flow: Flow, correlation: Tone) -> tuple[Flow, Tone]:
    """Return the flow with outliers replaced and smoothed by trust, and the trust."""
    slope = (correlation - LEAST_CORRELATION) / (FULL_CORRELATION - LEAST_CORRELATION)
    trust = np.clip(slope, 0, 1).astype(np.float32)
    middle = np.stack([_median(flow[..., axis]) for axis in (0, 1)], axis=-1)
    off = np.hypot(*(flow - middle).transpose(2, 0, 1))
    trust *= off < 1.5 + 0.25 * np.hypot(middle[..., 0], middle[..., 1])
    weight = trust + np.float32(1e-4)
    blurred = cv2.GaussianBlur(weight, (0, 0), 0.8)[..., None]
    smooth = cv2.GaussianBlur(flow * weight[..., None], (0, 0), 0.8) / blurred
    return smooth.astype(np.float32), np.asarray(cv2.GaussianBlur(trust, (0, 0), 0.8), np.float32)


def _median(values: Tone) -> Tone:
    return np.asarray(cv2.medianBlur(np.ascontiguousarray(values, np.float32), 3), np.float32)
