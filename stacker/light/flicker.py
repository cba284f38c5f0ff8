"""What of a burst's changing light is flicker, what is a slow change, and what is uncertain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import BLOCK_SAMPLES, LightArray

FloatArray = npt.NDArray[np.float64]

# flicker below this share of the light is not seen, and frames are left alone
LEAST_SEEN = 0.002
# times its own uncertainty that flicker must reach to be believed
BELIEVED = 3.0
# frames that a slow change is followed over: all of a short burst, a third of a long one
SLOW_FRAMES_MIN, SLOW_FRAMES_MAX = 48, 120
# fewer frames than this show no direction: their light counts as steady
DIRECTION_FRAMES = 5
# light from which on a gain below 1 fades, and is gone at white
BURNT_FADE_START = 0.95


@dataclass(frozen=True, eq=False)
class Evenness:
    """How even the light of a burst is, and the gains that make it so.

    Parameters
    ----------
    gains : float64 (N, 3), factors of light per frame and channel; all 1 where none are needed.
    unevenness : root mean square of what would be evened, as a share of the light.
    uncertainty : that of the measurement itself.
    needed : whether it is both believed and seen.
    coloured : whether the channels have gains of their own.
    """

    gains: FloatArray
    unevenness: float
    uncertainty: float
    needed: bool
    coloured: bool


def judge_evenness(
    changes: FloatArray, halves: FloatArray, times_s: FloatArray, *, keep_slow: bool
) -> Evenness:
    """Return what has to be done to make the light even.

    Parameters
    ----------
    changes : float64 (N, 3), how much brighter each frame is, natural logarithms; NaN where
        not known.
    halves : float64 (N, 2, 3), the same from two halves of the picture: how well they agree
        says how well the whole is known.
    times_s : float64 (N,), rising.
    keep_slow : leave slow changes, such as dusk, as they are.
    """
    apart = 0.5 * (halves[:, 0] - halves[:, 1])
    error = _rms(apart, axis=0)
    trust = np.where(np.isfinite(error), 1.0 / np.fmax(error, 1e-6) ** 2, 0.0)
    enough = (np.isfinite(changes) * trust).sum(axis=1) > 0
    gains = np.ones(changes.shape)
    if np.count_nonzero(enough) < 2:
        return Evenness(gains, 0.0, float("nan"), needed=False, coloured=False)
    common, tints = _common_and_tints(changes[enough], trust)
    common_apart, tints_apart = _common_and_tints(apart[enough], trust)
    uncertainty = float(_rms(common_apart))
    times = times_s[enough]
    uneven = _uneven(common, times, keep_slow=keep_slow)
    uneven_tints = np.stack([_uneven(tint, times, keep_slow=keep_slow) for tint in tints.T], axis=1)
    coloured = any(_is_seen(uneven_tints[:, c], float(_rms(tints_apart[:, c]))) for c in range(3))
    whole = uneven[:, None] + (uneven_tints if coloured else np.zeros(3))
    needed = coloured or _is_seen(uneven, uncertainty)
    if needed:
        gains[enough] = np.exp(-whole)
    return Evenness(gains, float(_rms(whole)), uncertainty, needed=needed, coloured=coloured)


def _common_and_tints(changes: FloatArray, trust: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return what the channels of each row have in common, (N,), and what each adds, (N, 3)."""
    known = np.isfinite(changes)
    share = known * trust
    total = share.sum(axis=1)
    seen = np.where(known, changes, 0.0)
    common = (seen * share).sum(axis=1) / np.where(total > 0, total, 1.0)
    return common, np.where(known, seen - common[:, None], 0.0)


def _is_seen(uneven: FloatArray, error: float) -> bool:
    return bool(_rms(uneven) > max(LEAST_SEEN, BELIEVED * error))


def _rms(values: FloatArray, axis: int | None = None) -> FloatArray:
    """Return the root mean square of the values that are known; NaN where none is."""
    known = np.isfinite(values)
    squares = np.where(known, values, 0.0) ** 2
    count = known.sum(axis=axis)
    return np.asarray(np.sqrt(squares.sum(axis=axis) / np.where(count > 0, count, np.nan)))


def _uneven(values: FloatArray, times_s: FloatArray, *, keep_slow: bool) -> FloatArray:
    steady = np.full(values.shape, np.median(values))
    return values - (slow_part(values, times_s) if keep_slow else steady)


def slow_part(values: FloatArray, times_s: FloatArray) -> FloatArray:
    """Return the slow course of the values, float64 (N,).

    Parameters
    ----------
    values : float64 (N,).
    times_s : float64 (N,), rising.

    Notes
    -----
    A straight line through the neighbours of each frame, nearer ones counting more and
    outliers less. A step in the light comes out as a slope.

    Source: W. S. Cleveland, "Robust locally weighted regression and smoothing scatterplots",
    J. American Statistical Association 74 (1979), doi:10.1080/01621459.1979.10481038.
    """
    count = len(values)
    if count < DIRECTION_FRAMES:
        return np.full(count, np.median(values))
    span = min(count, int(np.clip(count // 3, SLOW_FRAMES_MIN, SLOW_FRAMES_MAX)))
    first = np.clip(np.arange(count) - span // 2, 0, count - span)
    places = first[:, None] + np.arange(span)
    away = times_s[places] - times_s[:, None]
    # half as far again as the farthest: the ends of the span still have a say
    reach = 1.5 * np.abs(away).max(axis=1, keepdims=True)
    near = (1 - np.clip(np.abs(away) / np.fmax(reach, 1e-9), 0, 1) ** 3) ** 3
    trust = np.ones(count)
    course = values
    for _ in range(4):
        course = _lines(values[places], away, near * trust[places])
        off = np.abs(values - course)
        scale = 6 * np.median(off)
        if scale <= 0:
            break
        trust = np.maximum(0.0, 1 - (off / scale) ** 2) ** 2
    return course


def _lines(values: FloatArray, away: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the weighted straight lines through each row, at 0."""
    total = weight.sum(axis=1)
    mean_x = (weight * away).sum(axis=1) / total
    mean_y = (weight * values).sum(axis=1) / total
    x = away - mean_x[:, None]
    square = (weight * x * x).sum(axis=1)
    slope = (weight * x * (values - mean_y[:, None])).sum(axis=1) / np.where(square > 0, square, 1)
    return np.asarray(mean_y - slope * mean_x)


@dataclass(frozen=True, eq=False)
class FrameGains:
    """A correction: each frame's light times its gains.

    Parameters
    ----------
    gains : float64 (N, 3), by the frame's place in the burst.
    """

    gains: FloatArray

    def __call__(self, light: LightArray, index: int) -> None:
        """Change a frame in place.

        Parameters
        ----------
        light : float32 (H, W, 3), linear, C-contiguous.
        index : the frame's place in the burst.

        Notes
        -----
        A gain below 1 must not turn what is burnt out into gray: it fades from 0.95 of white
        on, and white and beyond stay as they are. The order of greys is kept.
        """
        gains = self.gains[index].astype(np.float32)
        if np.all(gains == 1):
            return
        width = light.shape[1]
        rows = light.reshape(light.shape[0], width * 3)
        row_gains = np.tile(gains, width)
        darker = bool(gains.min() < 1)
        step = max(1, BLOCK_SAMPLES // max(1, width * 3))
        for top in range(0, len(rows), step):
            block = rows[top : top + step]
            flat = block.reshape(-1)
            places = np.flatnonzero(flat > BURNT_FADE_START) if darker else np.empty(0, np.int64)
            bright = flat[places]
            block *= row_gains
            if places.size:
                flat[places] = _multiply_below_white(bright, gains[places % 3])


@dataclass(frozen=True, eq=False)
class PartGains:
    """A correction: the light of a part of each frame times its gains.

    Parameters
    ----------
    whole : the gains.
    share : uint16 (H, W), how much of each pixel belongs to the part, 65535 for all of it. Light in
        between is mixed; outside of the part it stays to the bit.
    """

    whole: FrameGains
    share: npt.NDArray[np.uint16]

    def __call__(self, light: LightArray, index: int) -> None:
        """Change a frame in place, float32 (H, W, 3), linear; ``index`` is its place."""
        step = max(1, BLOCK_SAMPLES // max(1, light.shape[1] * 3))
        for top in range(0, len(light), step):
            share = self.share[top : top + step]
            if not share.any():
                continue
            rows = light[top : top + step]
            evened = rows.copy()
            self.whole(evened, index)
            evened -= rows
            evened *= (share / np.float32(65535))[:, :, np.newaxis]
            rows += evened


def _multiply_below_white(
    bright: npt.NDArray[np.float32], gains: npt.NDArray[np.float32]
) -> npt.NDArray[np.float32]:
    """Return light from 0.95 on times its gains, those below 1 fading to 1 at white."""
    share = np.clip((bright - BURNT_FADE_START) / (1 - BURNT_FADE_START), 0, 1)
    kept = share * share * (3 - 2 * share)
    lost = np.minimum(gains - 1, 0) * kept
    return np.asarray(bright * (gains - lost), np.float32)
