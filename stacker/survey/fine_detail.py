"""Sharpness and noise of a result against its frames, in squares where nothing moved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.survey.noise import BRIGHTEST, DARKEST, fit_noise_line
from stacker.survey.still_squares import MARGIN

PatchArray = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# fine is what a blur of this many pixels takes away
FINE_PX = 2.0
# the share of white noise's variance that is fine: 1 - 2 g(0) + sum of g^2 of that blur
FINE_NOISE = 1 - 2 / (2 * np.pi * FINE_PX**2) + 1 / (4 * np.pi * FINE_PX**2)
# the share of the squares that counts as flat, and that counts as detailed; and how few will do
SOME, FEWEST = 0.25, 6
# fewer frames cannot tell their texture from their noise twice over
FEWEST_FRAMES = 4
# texture in flat squares, in variances of the noise left in the result, above which they are not
FLAT_ENOUGH = 3.0
# detail over noise, as variances, below which no sharpness can be told
DETAIL_OVER_NOISE = 4.0
# percent of a square's pixels at either end that may lie beyond the limits
AT_LIMIT = 1.0
# by how much a share of sharpness may come out above 1 where nothing was lost
UNSURE = 0.03


@dataclass(frozen=True)
class Comparison:
    """A result against single frames, where nothing moved.

    Parameters
    ----------
    sharpness : contrast of fine detail in the result over that in the sharpest frame: the root of
        the ratio of their fine energies, without the noise in them; None where nothing detailed
        stands still.
    sharpest : index of that frame among those compared.
    noise_gain : noise of one frame over that of the result in flat squares; None where nothing is
        flat, or there are fewer than four frames.
    noise_of_frame : standard deviation of one frame there, light, 1 is white.
    lift_stops : how much brighter the result is there than the frames, log2.
    detailed, flat : indices of the squares that show either best, for pictures of them.
    """

    sharpness: float | None = None
    sharpest: int | None = None
    noise_gain: float | None = None
    noise_of_frame: float | None = None
    lift_stops: float | None = None
    detailed: int | None = None
    flat: int | None = None


def said_sharp(share: float) -> str:
    """Return a share of the fine contrast in percent; what is only measured above 100 is 100."""
    return f"{100 * (1.0 if 1.0 < share < 1 + UNSURE else share):.0f} %"


def compare_detail(result: PatchArray, frames: Sequence[PatchArray]) -> Comparison:
    """Return how a result compares with its frames.

    Parameters
    ----------
    result : float32 (S, side, side) with margins, linear light of one channel.
    frames : the same squares of single frames, to a pixel; NaN where a frame has no such square.

    Notes
    -----
    What two frames have in common in a square is texture, what they have not is noise: the mean
    product of their fine parts is the texture's energy, free of noise. Flat squares are chosen by
    one half of the frames and what texture they have left is told by the other half, so that the
    choice does not favour squares by their noise. In JPEGs noise is what compression left of it.
    """
    if len(frames) < 2 or len(result) < FEWEST:
        return Comparison()
    stack = np.stack(frames)
    good = np.flatnonzero(_usable(result, frames))
    if len(good) < FEWEST:
        return Comparison()
    of_result, of_frames = fine(result[good]), fine(stack[:, good])
    level = stack[:, good].mean(axis=(0, 2, 3), dtype=np.float64)
    half = len(frames) >= FEWEST_FRAMES
    chosen_by, told_by = (of_frames[::2], of_frames[1::2]) if half else (of_frames, of_frames)
    textures = _shared(chosen_by)
    order = np.argsort(textures, kind="stable")
    some = max(FEWEST, round(SOME * len(good)))
    flat, detailed = order[:some], order[::-1][:some]
    energy = np.square(of_frames).mean(axis=(2, 3))
    noise = energy.mean(axis=0) - _shared(of_frames)
    left = np.square(of_result[flat]).mean(axis=(1, 2)) - _shared(told_by)[flat]
    gain = _gain(
        float(noise[flat].mean()), float(left.mean()), float(_shared(told_by)[flat].mean())
    )
    lift = float(np.median(np.log2(result[good][flat].mean(axis=(1, 2)) / level[flat])))
    known = gain is not None and half
    sharpness, sharpest = _sharpness(
        np.square(of_result).mean(axis=(1, 2))[detailed],
        energy[:, detailed],
        _noise_at(level, noise, flat)[detailed],
        gain or np.sqrt(len(frames)),
    )
    return Comparison(
        sharpness=sharpness,
        sharpest=sharpest,
        noise_gain=gain if half else None,
        noise_of_frame=float(np.sqrt(noise[flat].mean() / FINE_NOISE)) if known else None,
        lift_stops=lift if known else None,
        detailed=int(good[detailed[0]]),
        flat=int(good[flat[len(flat) // 2]]),
    )


def fine(squares: npt.NDArray[np.floating]) -> FloatArray:
    """Return what is fine in squares with margins, float64 without the margins."""
    shape = squares.shape
    flat = squares.reshape(-1, *shape[-2:])
    out = np.empty((len(flat), shape[-2] - 2 * MARGIN, shape[-1] - 2 * MARGIN))
    for number, square in enumerate(flat):
        light = np.asarray(square, np.float64)
        detail = light - cv2.GaussianBlur(light, (0, 0), FINE_PX)
        out[number] = detail[MARGIN:-MARGIN, MARGIN:-MARGIN]
    return out.reshape(*shape[:-2], *out.shape[1:])


def _usable(result: PatchArray, frames: Sequence[PatchArray]) -> BoolArray:
    """Return which squares are whole in all, and not cut off at black or white."""
    usable = np.ones(len(result), np.bool_)
    for squares in (result, *frames):
        flat: PatchArray = squares.reshape(len(squares), -1)
        whole = np.asarray(np.isfinite(flat).all(axis=1))
        low, high = np.percentile(np.where(whole[:, None], flat, 0), [AT_LIMIT, 100 - AT_LIMIT], 1)
        usable = usable & whole & (low > DARKEST) & (high < BRIGHTEST)
    return usable


def _shared(fines: FloatArray) -> FloatArray:
    """Return the energy that frames have in common in each square, float64 (S,)."""
    pairs = list(combinations(range(len(fines)), 2))
    return np.asarray(
        sum((fines[one] * fines[two]).mean(axis=(1, 2)) for one, two in pairs) / len(pairs)
    )


def _gain(noise: float, left: float, texture: float) -> float | None:
    """Return the ratio of two noises from their variances; None where texture hides the second."""
    if noise <= 0 or left <= 0 or texture > FLAT_ENOUGH * left:
        return None
    return float(np.sqrt(noise / left))


def _noise_at(level: FloatArray, noise: FloatArray, flat: npt.NDArray[np.intp]) -> FloatArray:
    """Return the variance of one frame's noise at each level, as flat squares tell it."""
    variance = np.maximum(noise[flat], 1e-12)
    shot, read = fit_noise_line(level[flat], variance, np.ones(len(flat)))
    return shot * level + read


def _sharpness(
    result: FloatArray, frames: FloatArray, noise: FloatArray, gain: float
) -> tuple[float | None, int | None]:
    """Return the contrast of detail against the sharpest frame, and which that is.

    Parameters
    ----------
    result, frames : energies in detailed squares, (S,) and (N, S).
    noise : variance of one frame's noise there, (S,).
    gain : of the noise, from frame to result.
    """
    of_frames = frames.sum(axis=1) - noise.sum()
    best = int(np.argmax(of_frames))
    if of_frames[best] < DETAIL_OVER_NOISE * noise.sum():
        return None, None
    of_result = max(0.0, float(result.sum() - noise.sum() / gain**2))
    return float(np.sqrt(of_result / of_frames[best])), best
