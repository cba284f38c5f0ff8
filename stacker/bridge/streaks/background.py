"""The still light of a burst and its noise: what is left when all moving light is taken away."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.base import LightOf
from stacker.light.encoding import LightArray

FloatArray = npt.NDArray[np.float32]

# frames looked at: medians of three, so that a pixel may be lit in half of them
GROUPS, GROUP = 5, 3
# noise is told by level, in so many steps of the square root of light
LEVELS = 24
# noise below this share of white cannot be told from the steps of 8-bit codes
LEAST_NOISE = 1.5e-4
# every so many pixels in both directions count for the noise
NOISE_STEP = 3
# MAD of a normal distribution
MAD_TO_SIGMA = 1.4826
# where light comes and goes, noise counts as up to so many times more
MOST_UNREST = 10.0
ROWS = 256


@dataclass(frozen=True, eq=False)
class Background:
    """Still light, half precision (H, W, 3), and its unrest, half precision (H, W).

    Unrest is the noise of the mean of the three channels in one frame, or more where light comes
    and goes, as on water or about a lamp that sways.
    """

    light: npt.NDArray[np.float16]
    unrest: npt.NDArray[np.float16]

    def excess(self, light: LightArray, window: tuple[slice, slice]) -> FloatArray:
        """Return what a frame has above the still light in a window, float32 (h, w, 3)."""
        return light[window] - self.light[window]

    def mean_excess(self, light: LightArray) -> FloatArray:
        """Return the excess as the mean of the channels over the whole frame, float32 (H, W)."""
        out = np.empty(light.shape[:2], np.float32)
        for top in range(0, len(out), ROWS):
            rows = slice(top, top + ROWS)
            out[rows] = mean_channel(self.excess(light, (rows, slice(None))))
        return out


def mean_channel(light: FloatArray) -> FloatArray:
    """Return the mean of the channels, float32 (h, w): lamps of any colour count alike."""
    third = np.full((1, 3), 1 / 3, np.float32)
    return np.asarray(cv2.transform(light, third), np.float32)


def still_background(frames: LightOf, count: int) -> Background:
    """Return the background of a burst of ``count`` frames, of which up to 15 are looked at.

    A low rank among medians of three: light that is there in half of the frames still counts as
    moving. A low rank of noisy values lies too low, by an amount that is the same for all pixels
    of a level; it is measured on the frames and put back.
    """
    group = GROUP if count >= 2 * GROUP + 1 else 1
    sampled = np.unique(np.linspace(0, count - 1, min(count, GROUPS * group)).round().astype(int))
    lowest: list[npt.NDArray[np.float16]] = []
    # neighbours in a group would show the same car
    groups = [sampled[first :: max(1, len(sampled) // group)][:group] for first in
              range(max(1, len(sampled) // group))]  # fmt: skip
    for numbers in groups:
        _sink(lowest, _middle(frames, numbers))
    rank = 1 if len(groups) >= 4 else 0
    light = lowest[rank]
    spread = _spread(lowest) if len(groups) >= 3 else None
    del lowest
    return _with_noise(light, spread, frames, sampled)


def _middle(frames: LightOf, numbers: npt.NDArray[np.intp]) -> npt.NDArray[np.float16]:
    """Return the median of one to three frames."""
    if len(numbers) < GROUP:
        return frames(int(numbers[0])).astype(np.float16)
    first, second = (frames(int(number)).astype(np.float16) for number in numbers[:2])
    third = frames(int(numbers[2]))
    for top in range(0, len(first), ROWS):
        rows = slice(top, top + ROWS)
        a, b = first[rows].astype(np.float32), second[rows].astype(np.float32)
        low, high = np.minimum(a, b), np.maximum(a, b)
        first[rows] = np.maximum(low, np.minimum(high, third[rows]))
    return first


def _sink(lowest: list[npt.NDArray[np.float16]], light: npt.NDArray[np.float16]) -> None:
    """Sort ``light`` into the two lowest values of each pixel; it is changed."""
    for kept in lowest:
        for top in range(0, len(kept), ROWS):
            rows = slice(top, top + ROWS)
            a, b = kept[rows].astype(np.float32), light[rows].astype(np.float32)
            kept[rows], light[rows] = np.minimum(a, b), np.maximum(a, b)
    if len(lowest) < 2:
        lowest.append(light)


def _spread(lowest: Sequence[npt.NDArray[np.float16]]) -> npt.NDArray[np.float16]:
    """Return how far the two lowest values lie apart, mean of the channels, (H, W).

    Third ones may be those of moving lights on a busy road.
    """
    out = np.empty(lowest[0].shape[:2], np.float16)
    for top in range(0, len(out), ROWS):
        rows = slice(top, top + ROWS)
        apart = lowest[1][rows].astype(np.float32) - lowest[0][rows]
        out[rows] = mean_channel(apart)
    return out


def _with_noise(
    light: npt.NDArray[np.float16],
    spread: npt.NDArray[np.float16] | None,
    frames: LightOf,
    sampled: npt.NDArray[np.intp],
) -> Background:
    """Return the background, its level set right, with the noise of each level."""
    part = (slice(None, None, NOISE_STEP), slice(None, None, NOISE_STEP))
    still = light[part].astype(np.float32)
    asked = sampled[:: max(1, len(sampled) // 3)][:3]
    seen = [frames(int(number))[part] - still for number in asked]
    at: FloatArray = np.linspace(0, 1, LEVELS, dtype=np.float32)
    lift = np.stack(
        [_by_level(still[..., c], [excess[..., c] for excess in seen], at)[0] for c in range(3)]
    )
    level = mean_channel(still)
    _, noise = _by_level(level, [mean_channel(excess) for excess in seen], at)
    apart = None if spread is None else _by_level(
        level, [spread[part].astype(np.float32)], at)[0]  # fmt: skip
    unrest = np.empty(light.shape[:2], np.float16)
    for top in range(0, len(light), ROWS):
        rows = slice(top, top + ROWS)
        band = light[rows].astype(np.float32)
        root = np.sqrt(np.clip(mean_channel(band), 0, 1))
        here = np.interp(root, at, noise)
        if spread is not None and apart is not None:
            # how much more it comes and goes than other pixels of its level
            usual = np.interp(root, at, np.maximum(apart, LEAST_NOISE))
            here *= np.clip(spread[rows] / usual / 3, 1, MOST_UNREST)
        unrest[rows] = here
        for c in range(3):
            band[..., c] += np.interp(np.sqrt(np.clip(band[..., c], 0, 1)), at, lift[c])
        light[rows] = band
    return Background(light, unrest)


def _by_level(
    still: FloatArray, seen: Sequence[FloatArray], at: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the median of what was seen and its noise at each root of light in ``at``."""
    number = np.rint(np.sqrt(np.clip(still, 0, 1)) * (len(at) - 1)).astype(np.intp).ravel()
    middle, noise = np.full(len(at), np.nan), np.full(len(at), np.nan)
    for level in range(len(at)):
        chosen = np.flatnonzero(number == level)
        if len(chosen) < 50:
            continue
        values = np.stack([excess.ravel()[chosen] for excess in seen])
        each = np.median(values, axis=1)
        middle[level] = np.median(each)
        apart = np.median(np.abs(values - each[:, None]), axis=1)
        noise[level] = max(MAD_TO_SIGMA * float(np.median(apart)), LEAST_NOISE)
    known = np.isfinite(middle)
    if not known.any():
        return np.zeros(len(at), np.float32), np.full(len(at), LEAST_NOISE, np.float32)
    return (
        np.interp(at, at[known], middle[known]).astype(np.float32),
        np.interp(at, at[known], noise[known]).astype(np.float32),
    )
