"""How much of a moving part's texture is left in a longer exposure.

Light is split into what stands still, what moves, and noise. Only the fine structure counts: of
each picture a blurred copy is taken off, so that neither dusk nor flicker looks like movement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

GreyArray = npt.NDArray[np.float32]

# what is blurred away, as a share of the longer side: shades that wide are no texture
BLUR_SHARE = 0.01
LEAST_BLUR_PX = 2.0
# the spread over time is averaged over so many pixels each way before it is judged
NEIGHBOURHOOD = 5
# so many times the noise's variance is movement; JPEG's own errors reach twice of it
CLEARLY_MOVING = 4.0
# and so much of the light: beyond the rounding of any file
LEAST_SPREAD = 2e-3
# pixels of each level of light, by which noise is learnt
LEVELS = 24
QUIET_SHARE = 0.1
# its place in a normal distribution
QUIET_SIGMAS = -1.2816
# below this share of the picture nothing worth a figure moves
LEAST_MOVING_SHARE = 1e-3


@dataclass(frozen=True, eq=False)
class Movement:
    """What moves in a burst, found from single frames.

    Parameters
    ----------
    moving : bool (h, w), where.
    texture : variance of the moving texture of a single frame there, in light.
    still : variance of what stands still there.
    noise : variance of a single frame's noise there.
    noise_sigma : float32 (h, w), a single frame's noise at each pixel.
    """

    moving: npt.NDArray[np.bool_]
    texture: float
    still: float
    noise: float
    noise_sigma: GreyArray

    @property
    def share(self) -> float:
        """The share of the picture that moves, 0 to 1."""
        return float(np.mean(self.moving))

    @property
    def found(self) -> bool:
        """Whether enough moves for a figure."""
        return self.share >= LEAST_MOVING_SHARE and self.texture > 0


def find_movement(
    frames: Sequence[GreyArray], *, valid: npt.NDArray[np.bool_] | None = None
) -> Movement:
    """Return what moves in single frames of a burst.

    Parameters
    ----------
    frames : two or more, in their order, spread over the burst; luminance in linear light, float32
        (h, w); not changed.
    valid : bool (h, w), False where a frame has nothing to say; all, if None.

    Notes
    -----
    What stands still is what the first and the last third of the frames have in common, so
    texture that takes longer than that to pass counts as standing still.
    """
    fine = [high_passed(frame) for frame in frames]
    count = len(fine)
    mean = sum(fine[1:], start=fine[0]) / np.float32(count)
    spread = np.zeros_like(mean)
    for picture in fine:
        spread += np.square(picture - mean)
    spread /= np.float32(count - 1)
    level = sum(frames[1:], start=frames[0]) / np.float32(count)
    around = np.asarray(cv2.blur(spread, (NEIGHBOURHOOD, NEIGHBOURHOOD)), np.float32)
    noise = _noise_variance(around, level, count)
    limit = np.maximum(noise * CLEARLY_MOVING, np.square(level * np.float32(LEAST_SPREAD)))
    moving = _without_specks(around > limit)
    if valid is not None:
        moving &= valid
    if not moving.any():
        return Movement(moving, 0.0, 0.0, 0.0, np.sqrt(noise))
    third = math.ceil(count / 3)
    early, late = (
        sum(part[1:], start=part[0])[moving] / np.float32(third)
        for part in (fine[:third], fine[-third:])
    )
    still = max(0.0, _mean(early * late))
    own_noise = _mean(noise[moving])
    power = sum(_mean(np.square(picture[moving])) for picture in fine) / count
    return Movement(moving, power - still - own_noise, still, own_noise, np.sqrt(noise))


def contrast_left(picture: GreyArray, movement: Movement, *, noise_share: float) -> float:
    """Return the contrast of the moving texture in a picture as a share of one frame's.

    Standard deviations in linear light, over what moves, without what stands still and noise.

    Parameters
    ----------
    picture : luminance in linear light, float32 (h, w), as bright as a frame; not changed.
    noise_share : variance of the picture's noise as a share of one frame's; 1 / N for a mean.

    Notes
    -----
    N independent textures leave 1 / sqrt(N).
    """
    power = _mean(np.square(high_passed(picture)[movement.moving]))
    left = power - movement.still - movement.noise * noise_share
    return math.sqrt(max(0.0, left) / movement.texture)


def strangeness_left(
    picture: GreyArray, frames: Sequence[GreyArray], rest: GreyArray, movement: Movement
) -> float:
    """Return how far a picture is from the one without what moves, as a share of one frame's.

    For blends that make what moves vanish. Standard deviations in linear light of the fine
    structure, over what moves. Rests of one and the same noise are in both, so noise is left in.

    Parameters
    ----------
    picture : luminance in linear light, float32 (h, w); not changed.
    frames : single frames, likewise.
    rest : the picture without what moves, see ``light_at_rest``.
    """
    empty = high_passed(rest)[movement.moving]

    def strange(each: GreyArray) -> float:
        return _mean(np.square(high_passed(each)[movement.moving] - empty))

    alone = sum(strange(frame) for frame in frames) / len(frames)
    return math.sqrt(strange(picture) / alone)


def high_passed(picture: GreyArray) -> GreyArray:
    """Return the fine structure of a picture, float32 (h, w), about 0."""
    sigma = max(LEAST_BLUR_PX, max(picture.shape) * BLUR_SHARE)
    return np.asarray(picture - cv2.GaussianBlur(picture, (0, 0), sigma), np.float32)


def _noise_variance(spread: GreyArray, level: GreyArray, count: int) -> GreyArray:
    """Return the variance of noise at each pixel, from the quietest at each level of light.

    Parameters
    ----------
    spread : variance over ``count`` frames, averaged over neighbourhoods.
    """
    flat_level, flat_spread = level.ravel(), spread.ravel()
    step = max(1, flat_level.size // 200_000)
    flat_level, flat_spread = flat_level[::step], flat_spread[::step]
    order = np.argsort(flat_level)
    levels, quiet = [], []
    for part in np.array_split(order, min(LEVELS, order.size)):
        levels.append(float(np.median(flat_level[part])))
        quiet.append(float(np.quantile(flat_spread[part], QUIET_SHARE)))
    # the quietest of many estimates lie below what they estimate (Wilson and Hilferty 1931);
    # neighbours err alike, so they count for half
    freedom = NEIGHBOURHOOD**2 * (count - 1) / 2
    below = (1 - 2 / (9 * freedom) + QUIET_SIGMAS * math.sqrt(2 / (9 * freedom))) ** 3
    noise = np.interp(level, levels, np.asarray(quiet) / below)
    return np.asarray(noise, np.float32)


def _without_specks(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    kernel = np.ones((3, 3), np.uint8)
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    return np.asarray(opened, np.bool_)


def _mean(values: GreyArray) -> float:
    return float(np.mean(values, dtype=np.float64))
