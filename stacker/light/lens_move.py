"""A picture under a lens that moves: the mean of its light over the path.

The mean over 2, 4, 8 and more places of a steady path comes by doubling: what is the mean over the
first half of the places, carried on by half of the way, is that over the second half. A thousand
places, so near to each other that none shows, take ten resamplings.
"""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.lens_blur import blurred
from stacker.light.lens_path import LensPath, inverted

FloatArray = npt.NDArray[np.float32]

# places lie no farther apart, px
STEP_PX = 0.25
# where the picture moves while the focus is pulled, the path is cut into so many parts
PARTS = 16
# no place is moved that would not be seen, px
UNSEEN_PX = 1e-3


def moved_channel(channel: FloatArray, path: LensPath, begin: float, end: float) -> FloatArray:
    """Return the mean of one channel of light over a part of the path, float32 (H, W).

    Parameters
    ----------
    channel : float32 (H, W), linear; not changed.
    begin, end : the part, as moments from 0 to 1.

    Notes
    -----
    Beyond its border the picture is mirrored, so that nothing gets dark there. OpenCV places
    samples to 1/32 px, so the brightness of the sharpest streaks is true to some 2 %.
    """
    height, width = channel.shape
    farthest = path.farthest_px((width, height))
    # what the path brings in is mirrored once, not at every resampling
    margin = min(math.ceil(farthest) + 2, height - 1, width - 1) if _needs_more(path) else 0
    wide = channel
    if margin:
        wide = np.asarray(
            cv2.copyMakeBorder(channel, margin, margin, margin, margin, cv2.BORDER_REFLECT_101)
        )
    total = np.zeros(channel.shape, np.float32)
    inner = slice(margin, margin + height), slice(margin, margin + width)
    for weight, first, last in path.legs(begin, end):
        parts = PARTS if path.moves and path.pulls_focus and first != last else 1
        edges = np.linspace(first, last, parts + 1)
        for low, high in itertools.pairwise(edges):
            soft = blurred(wide, *_radii(path, low, high))
            mean = _swept(soft, path, float(low), float(high), farthest, margin)
            total += np.float32(weight / parts) * mean[inner]
    return total


def _needs_more(path: LensPath) -> bool:
    """Return whether the path needs more than the picture shows: a zoom inwards does not."""
    return path.zoom < 1 or path.turn_deg != 0 or path.drift_px != (0, 0)


def _radii(path: LensPath, low: float, high: float) -> tuple[float, float]:
    first, last = path.focus_px
    return first + (last - first) * low, first + (last - first) * high


def _swept(
    light: FloatArray, path: LensPath, low: float, high: float, farthest: float, margin: int
) -> FloatArray:
    """Return the mean of light over the places from ``low`` to ``high`` of the way."""
    if not path.moves:
        return light
    way = farthest * (high - low)
    doublings = max(0, math.ceil(math.log2(max(way / STEP_PX, 1))))
    step = (high - low) / 2**doublings
    mean = light
    for number in range(doublings):
        carried = _warped(mean, path, step * 2**number, margin)
        mean = cv2.addWeighted(mean, 0.5, carried, 0.5, 0, dst=carried)  # type: ignore[assignment]
    # the places are the middles of their steps
    begin = low + (0.5 * step if doublings else 0.5 * (high - low))
    if farthest * begin > UNSEEN_PX:
        mean = _warped(mean, path, begin, margin)
    return mean


def _warped(light: FloatArray, path: LensPath, share: float, margin: int) -> FloatArray:
    """Return light after a share of the way."""
    back = inverted(path.matrix(share))
    # places of the picture without its margin
    shift = np.array([margin, margin], float)
    back[:, 2] += shift - back[:, :2] @ shift
    height, width = light.shape
    return np.asarray(
        cv2.warpAffine(
            light, back, (width, height),
            flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REFLECT_101,
        ),
        np.float32,
    )  # fmt: skip
