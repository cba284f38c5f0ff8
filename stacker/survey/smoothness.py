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
# so many times the noise's variance is movement; JPEG's own errors come near to twice of it
CLEARLY_MOVING = 2.5
# what only noise passes: it is blind to any texture that is smooth over three pixels
NOISE_KERNEL = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32) / 6
# what JPEG leaves of noise is smooth too: so many times what passes may be noise
SMOOTH_NOISE = 4.0
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
    noise : variance of a single frame's noise there.
    noise_sigma : float32 (h, w), a single frame's noise at each pixel.
    """

    moving: npt.NDArray[np.bool_]
    texture: float
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
    Source of the kernel that only noise passes: J. Immerkaer, "Fast noise variance estimation",
    Computer Vision and Image Understanding 64, 1996, doi:10.1006/cviu.1996.0060; here on
    differences in time, from which what stands still is gone.
    """
    fine = [high_passed(frame) for frame in frames]
    count = len(fine)
    mean = sum(fine[1:], start=fine[0]) / np.float32(count)
    spread, rough = np.zeros_like(mean), np.zeros_like(mean)
    for picture in fine:
        spread += np.square(picture - mean)
        rough += np.square(cv2.filter2D(picture - mean, -1, NOISE_KERNEL))
    spread /= np.float32(count - 1)
    rough /= np.float32(count - 1)
    level = sum(frames[1:], start=frames[0]) / np.float32(count)
    around = _around(spread)
    # where all of the picture moves nothing is quiet, but texture is smoother than noise
    noise = np.minimum(_noise_variance(around, level, count), _around(rough) * SMOOTH_NOISE)
    limit = np.maximum(noise * CLEARLY_MOVING, np.square(level * np.float32(LEAST_SPREAD)))
    moving = _without_specks(around > limit)
    # at the borders the blur knows one side only, and dusk looks like movement
    margin = math.ceil(2 * _blur_px(level))
    inside = np.zeros_like(moving)
    inside[margin:-margin, margin:-margin] = True
    moving &= inside
    if valid is not None:
        moving &= valid
    if not moving.any():
        return Movement(moving, 0.0, 0.0, np.sqrt(noise))
    own_noise = _mean(noise[moving])
    return Movement(moving, _mean(spread[moving]) - own_noise, own_noise, np.sqrt(noise))


def contrast_left(
    picture: GreyArray, whole: GreyArray, movement: Movement, *, frames: int, of: int
) -> float:
    """Return the contrast of the moving texture in a mean, as a share of one frame's.

    Standard deviations in linear light, over what moves, without noise.

    Parameters
    ----------
    picture : the mean of ``frames`` frames; luminance in linear light, float32 (h, w).
    whole : the mean of ``of`` frames, those among them. What both show stands still and does not
        count.

    Notes
    -----
    Of N independent textures 1 / sqrt(N) is left. The whole is no perfect picture of what stands
    still: it holds the rest of the texture, and the part's own. For a part of n frames of N the
    variance of the difference is 1 - n / N of that in the part, if textures change from frame to
    frame. What takes as long as the burst to pass counts as standing still.
    """
    if frames >= of:
        raise ValueError("the whole is measured by one of its halves: whole_contrast_left")
    power = _difference(picture, whole, movement) / (1 - frames / of)
    return _share(power - movement.noise / frames, movement)


def whole_contrast_left(
    part: GreyArray, whole: GreyArray, movement: Movement, *, frames: int, of: int
) -> float:
    """Return the same for the whole, by how far a part of it, best a half, is from it.

    The part differs from the whole by (N - n) / n of the variance that is left in the whole.
    """
    power = _difference(part, whole, movement) * frames / (of - frames)
    return _share(power - movement.noise / of, movement)


def _difference(one: GreyArray, two: GreyArray, movement: Movement) -> float:
    return _mean(np.square(high_passed(one - two)[movement.moving]))


def _share(power: float, movement: Movement) -> float:
    return math.sqrt(max(0.0, power) / movement.texture)


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
    alone = sum(_difference(frame, rest, movement) for frame in frames) / len(frames)
    return math.sqrt(_difference(picture, rest, movement) / alone)


def high_passed(picture: GreyArray) -> GreyArray:
    """Return the fine structure of a picture, float32 (h, w), about 0."""
    blurred = cv2.GaussianBlur(picture, (0, 0), _blur_px(picture))
    return np.asarray(picture - blurred, np.float32)


def _blur_px(picture: GreyArray) -> float:
    return float(max(LEAST_BLUR_PX, max(picture.shape) * BLUR_SHARE))


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
    found = np.asarray(quiet) / below
    return np.asarray(np.interp(level, levels, found), np.float32)


def _around(values: GreyArray) -> GreyArray:
    """Return the average over each pixel's neighbourhood, float32 (h, w)."""
    # the running sums of a box go a little below 0 where there is nothing
    return np.maximum(cv2.blur(values, (NEIGHBOURHOOD, NEIGHBOURHOOD)), np.float32(0))


def _without_specks(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    kernel = np.ones((3, 3), np.uint8)
    opened = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, kernel)
    return np.asarray(opened, np.bool_)


def _mean(values: GreyArray) -> float:
    return float(np.mean(values, dtype=np.float64))
