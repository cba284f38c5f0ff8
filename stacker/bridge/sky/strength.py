"""How bright each star's trail is in a frame, and the sky next to it.

Both are fitted together to the pixels along the trail, for each channel, by least squares with
weights that forget pixels which something else lights. Pixels that stand still do not count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stacker.bridge.sky.profile import Profiles, passing
from stacker.bridge.sky.still import Still
from stacker.bridge.sky.ways import Float32Array, Strip, Turn, pieces_of, strip_of
from stacker.light.encoding import LightArray
from stacker.register.scene.grey import BURNT_OUT
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray

# a pixel farther than this many standard deviations from the fit, and by more than this share of
# the trail's light, belongs to something else
OUTLYING, MISFIT = 4.0, 0.25
# share of a trail's pixels that must look like the sky
LEAST_CLEAR = 0.5
# pixels that are enough to know the light and the ground of three channels
LEAST_PIXELS = 12


@dataclass(frozen=True, eq=False)
class Strengths:
    """Of N stars in a frame: ``light`` (N, 3) in the middle of the trail above ``ground`` (N, 3);
    ``height``, ``grey_ground`` (N,) the luminance of both and ``error`` (N,) the standard deviation
    of the height;
    ``noise`` (N,) of a pixel's luminance; ``misfit`` (N,) what the profile leaves, as a share of
    the height; ``level`` (N,) of the sky in the still copy; ``burnt`` (N,) whether its pixels burn
    out; ``shift`` (N,) px how far to the side of its way it lies."""

    light: Float64Array
    ground: Float64Array
    height: Float64Array
    grey_ground: Float64Array
    error: Float64Array
    noise: Float64Array
    misfit: Float64Array
    level: Float64Array
    burnt: BoolArray
    shift: Float64Array

    @property
    def certainty(self) -> Float64Array:
        """Height over its error (N,), 0 where nothing was measured."""
        return np.asarray(np.maximum(self.height, 0) / self.error)


@dataclass(frozen=True, eq=False)
class Samples:
    """Pixels of trails, for learning profiles from: their luminance ``grey`` (Q,), the ``share``
    (Q,) of the light in the middle of the trail at this point along it, and how much they count."""

    strip: Strip
    grey: Float32Array
    share: Float32Array
    weight: Float64Array


def measured(
    light: LightArray, still: Still, turn: Turn, opened: float, shut: float, stars: Float64Array,
    profiles: Profiles, weights: tuple[float, float, float],
) -> tuple[Strengths, Samples]:  # fmt: skip
    """Return how bright the trails of stars (N, 3) are in a frame.

    Parameters
    ----------
    light : the frame's, float32 (H, W, 3).
    opened, shut : the moments of the turn between which the frame was exposed.
    """
    count = len(stars)
    pieces = pieces_of(turn, stars, opened, shut)
    reach = np.full(len(pieces.star), profiles.reach_px)
    strip = strip_of(pieces, reach, 1.5 * profiles.sigma_px, light.shape[:2])
    middle = turn.place(stars, np.full(count, (opened + shut) / 2))
    part = profiles.part(middle)[strip.star]
    way = pieces.way_px[strip.star]
    share = passing(strip.along, way, profiles.sigma_px)
    model = share * profiles.at(part, strip.across)
    values = light[strip.row, strip.column]
    codes = still.at(strip.row, strip.column)
    level, clear = _levels(codes, strip, still, count)
    usable = clear & (values.max(axis=1) < BURNT_OUT)
    weight = usable.astype(np.float64)
    grey = values @ np.asarray(weights, np.float32)
    for _ in range(2):
        height, ground, _ = _solved(model, grey, weight, strip, count)
        rest = grey - ground[strip.star] - height[strip.star] * model
        noise = _spread(rest, weight, strip, count)
        limit = OUTLYING * noise[strip.star] + MISFIT * np.maximum(height, 0)[strip.star] * model
        weight = (usable & (np.abs(rest) <= limit)).astype(np.float64)
    both = [_solved(model, values[:, c], weight, strip, count) for c in range(3)]
    height, ground, variance = _solved(model, grey, weight, strip, count)
    rest = grey - ground[strip.star] - height[strip.star] * model
    noise = _spread(rest, weight, strip, count)
    star, pixels = strip.star, np.bincount(strip.star, minlength=count)
    seen = np.bincount(star, weight, count)
    poor = (seen < LEAST_PIXELS) | (seen < LEAST_CLEAR * pixels)
    error = np.where(poor, np.inf, noise * np.sqrt(variance))
    core = weight * (model > 0.5)
    square = np.bincount(star, core * rest**2, count) / np.maximum(
        np.bincount(star, core, count), 1
    )
    misfit = np.sqrt(np.maximum(square - noise**2, 0)) / np.maximum(height, 1e-9)
    burnt = np.bincount(star, (values.max(axis=1) >= BURNT_OUT) & (model > 0.3), count) > 0
    strengths = Strengths(
        np.stack([each[0] for each in both], 1), np.stack([each[1] for each in both], 1), height,
        ground, error, noise, misfit, level, burnt, _shift(rest, height, share, part, strip, weight,
        profiles, count),
    )  # fmt: skip
    return strengths, Samples(strip, grey, share, weight)


def _levels(
    codes: Float32Array, strip: Strip, still: Still, count: int
) -> tuple[Float64Array, BoolArray]:
    """Return the level (N,) of the still sky along each trail, and which pixels (Q,) show it."""
    clear = np.ones(len(codes), bool)
    level = np.zeros(count)
    for round_ in range(3):
        number = np.bincount(strip.star, clear, count)
        level = np.bincount(strip.star, codes * clear, count) / np.maximum(number, 1)
        here = level[strip.star].astype(np.float32)
        # a lamp at the side pulls the first mean far up: draw in step by step
        clear = (
            still.alike(codes, here, np.zeros_like(here))
            if round_
            else np.abs(codes - here) <= 0.5 * here + 8
        )
    return level, clear


def _solved(
    model: Float32Array, values: Float32Array, weight: Float64Array, strip: Strip, count: int
) -> tuple[Float64Array, Float64Array, Float64Array]:
    """Return height, ground and the variance of the height for pixels of unit variance, (N,)."""
    star = strip.star
    one = np.bincount(star, weight, count)
    m = np.bincount(star, weight * model, count)
    mm = np.bincount(star, weight * model * model, count)
    y = np.bincount(star, weight * values, count)
    my = np.bincount(star, weight * model * values, count)
    spread = np.maximum(mm * one - m * m, 1e-9)
    height = (my * one - m * y) / spread
    ground = (y - height * m) / np.maximum(one, 1)
    return height, ground, np.maximum(one, 1) / spread


def _spread(rest: Float64Array, weight: Float64Array, strip: Strip, count: int) -> Float64Array:
    """Return the standard deviation (N,) of what a fit leaves."""
    seen = np.maximum(np.bincount(strip.star, weight, count) - 2, 1)
    return np.sqrt(np.bincount(strip.star, weight * rest**2, count) / seen) + 1e-6


def _shift(
    rest: Float64Array, height: Float64Array, share: Float32Array, part: IntArray,
    strip: Strip, weight: Float64Array, profiles: Profiles, count: int,
) -> Float64Array:  # fmt: skip
    """Return how far to the side the trails lie (N,), px, by the slope of their profile."""
    step = 0.25
    slope = profiles.at(part, strip.across - step) - profiles.at(part, strip.across + step)
    slope = slope * share * (height / (2 * step))[strip.star]
    along = np.bincount(strip.star, weight * slope * rest, count)
    return np.clip(along / (np.bincount(strip.star, weight * slope**2, count) + 1e-12), -1, 1)
