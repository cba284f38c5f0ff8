"""The sky in a streak's place: what the neighbours show there, carried by the sky's turn."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.planes.streak import PassingStreak
from stacker.bridge.sky import SkyBridge
from stacker.light.encoding import LightArray

Float64Array = npt.NDArray[np.float64]
FloatArray = npt.NDArray[np.float32]

# pixels worked on at a time: OpenCV takes no picture of more than 32767 rows
BLOCK = 1 << 14
# an end of a streak goes on so many of its half widths
ENDS = 1.0
# two neighbours that differ by more than this share, and so much light, show something passing
DIFFER, DIFFER_LIGHT = 0.5, 0.01


def pixels_of(streaks: Sequence[PassingStreak], shape: tuple[int, ...]) -> npt.NDArray[np.intp]:
    """Return the pixels that streaks cover, (N,) numbers in rows of a picture (H, W)."""
    height, width = shape[:2]
    mask = np.zeros((height, width), np.uint8)
    for streak in streaks:
        line = streak.line
        more = ENDS * streak.half_width_px
        ends = [line[0] + more * streak.outward(0), *line, line[-1] + more * streak.outward(1)]
        way = np.rint(np.array(ends)).astype(np.int32)
        thick = max(1, 2 * round(streak.half_width_px) + 1)
        cv2.polylines(mask, [way], False, 1, thickness=thick)
    return np.flatnonzero(mask)


def carried_light(
    where: npt.NDArray[np.intp], number: int, other: int, light: LightArray, sky: SkyBridge
) -> FloatArray | None:
    """Return what another frame shows at the sky of some pixels, float32 (N, 3).

    Parameters
    ----------
    where : (N,) numbers in rows of frame ``number``.
    light : that of frame ``other``, float32 (H, W, 3).

    Returns
    -------
    NaN for what lies outside of that frame; None where its sky is not known.
    """
    width = light.shape[1]
    seen = np.empty((len(where), 3), np.float32)
    for start in range(0, len(where), BLOCK):
        part = slice(start, start + BLOCK)
        place = np.stack([where[part] % width, where[part] // width], 1).astype(np.float64)
        there = sky.carried(place, number, other)
        if there is None:
            return None
        seen[part] = _sampled(light, there)
    return seen


def mended_light(own: FloatArray, neighbours: Sequence[FloatArray]) -> FloatArray:
    """Return the light of pixels without what passed there, float32 (N, 3).

    Parameters
    ----------
    own : float32 (N, 3), what the frame shows; nowhere does the result lie above it.
    neighbours : what none, one or two others show of the same sky, as ``carried_light`` gives it.
    """
    if not neighbours:
        return own
    return np.asarray(np.fmin(own, _agreed(neighbours)), np.float32)


def _agreed(seen: Sequence[FloatArray]) -> FloatArray:
    """Return what one or two neighbours show: the brighter, but the darker where they differ."""
    if len(seen) == 1:
        return seen[0]
    one, two = seen
    low, high = np.fmin(one, two), np.fmax(one, two)
    # where one of them is NaN both are the other
    bright, dark = (each.mean(axis=1, keepdims=True) for each in (high, low))
    return np.where(bright > (1 + DIFFER) * dark + DIFFER_LIGHT, low, high).astype(np.float32)


def _sampled(light: LightArray, place: Float64Array) -> FloatArray:
    """Return light at places (N, 2) by a cubic, float32 (N, 3); NaN outside of the frame."""
    height, width = light.shape[:2]
    there = place.astype(np.float32)
    seen = cv2.remap(
        light, there[:, None, 0], there[:, None, 1], cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    ).reshape(-1, 3)  # fmt: skip
    beyond = ((place < 0) | (place > np.array([width - 1, height - 1]))).any(axis=1)
    seen[beyond] = np.nan
    return np.asarray(seen, np.float32)
