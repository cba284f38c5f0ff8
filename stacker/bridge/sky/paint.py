"""Laying down the light of stars along their ways through a gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from stacker.bridge.base import Patch
from stacker.bridge.sky.profile import Profiles
from stacker.bridge.sky.still import Still
from stacker.bridge.sky.strength import Strengths
from stacker.bridge.sky.ways import Float32Array, Strip, Turn, pieces_of, strip_of
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray

# a star must be seen with this certainty in either frame, and with this in both together
SEEN, SEEN_TOGETHER = 2.5, 5.0
# the certainty at which one may be half confident
HALF_SURE = 5.0
# brightnesses that differ by no more than this (standard deviations) are one, measured twice
ONE_BRIGHTNESS = 2.5
# those that differ by more than this factor are not of one star: a plane, a cloud's edge
TOO_DIFFERENT = 4.0
# light below this share of a pixel's noise is not worth laying down: the noise hides it
LEAST_NOISE = 0.5
# a misfit of this share of the height halves the confidence
POOR_FIT = 0.3
# the light of a star this many times brighter is drawn with all its wings
WITH_WINGS = 100.0
# pieces of ways worked on at once, which bounds the memory of a long gap
PIECES = 2048
# side of the squares in which light is handed on, px
TILE = 32


@dataclass(frozen=True, eq=False)
class Carried:
    """Stars to be carried from one frame to the next, N of them.

    ``start``, ``stop`` (N, 3) their light in the middle of the trails, ``ground_start``,
    ``ground_stop`` (N, 3) the sky's; ``noise`` (N,) of a pixel's luminance, ``height`` (N,) of
    theirs; ``level_start``, ``level_stop`` (N,) of the sky in the still copy; ``sure`` (N,).
    """

    stars: Float64Array
    start: Float64Array
    stop: Float64Array
    ground_start: Float64Array
    ground_stop: Float64Array
    level_start: Float64Array
    level_stop: Float64Array
    height: Float64Array
    noise: Float64Array
    sure: Float64Array
    burnt: BoolArray


@dataclass(frozen=True, eq=False)
class Laid:
    """Pixels with light: ``row``, ``column`` (Q,), ``light`` (Q, 3), ``sure`` (Q,)."""

    row: IntArray
    column: IntArray
    light: Float32Array
    sure: Float32Array


def agreed(stars: Float64Array, one: Strengths, two: Strengths) -> Carried | None:
    """Return the stars (N, 3) that both frames show, with one light where they agree on it."""
    certain = np.hypot(one.certainty, two.certainty)
    seen = (np.minimum(one.certainty, two.certainty) >= SEEN) & (certain >= SEEN_TOGETHER)
    ratio = np.maximum(one.height, 1e-9) / np.maximum(two.height, 1e-9)
    seen &= np.maximum(ratio, 1 / ratio) <= TOO_DIFFERENT
    if not seen.any():
        return None
    apart = np.abs(one.height - two.height)
    error = np.hypot(one.error, two.error)
    same = (apart <= ONE_BRIGHTNESS * error)[:, None]
    weight_one, weight_two = one.error[:, None] ** -2.0, two.error[:, None] ** -2.0
    total = np.maximum(weight_one + weight_two, 1e-30)
    both = (weight_one * one.light + weight_two * two.light) / total
    start, stop = np.where(same, both, one.light), np.where(same, both, two.light)
    doubt = apart / np.maximum(error + 0.5 * (one.height + two.height), 1e-9)
    misfit = (one.misfit + two.misfit) / 2
    sure = certain**2 / (certain**2 + HALF_SURE**2)
    sure = sure * np.exp(-(doubt**2)) / (1 + (misfit / POOR_FIT) ** 2)
    return Carried(
        stars[seen], np.maximum(start, 0)[seen], np.maximum(stop, 0)[seen], one.ground[seen],
        two.ground[seen], one.level[seen], two.level[seen],
        np.maximum(one.height, two.height)[seen], ((one.noise + two.noise) / 2)[seen], sure[seen],
        (one.burnt | two.burnt)[seen],
    )  # fmt: skip


def laid_down(
    carried: Carried, turn: Turn, still: Still, profiles: Profiles, shape: tuple[int, int]
) -> Laid:
    """Return the light of stars from the middle of one exposure to the middle of the next.

    An exposure that slides along a trail shows each place at its brightest when that lies in its
    middle: the profile of the trail, drawn out from middle to middle, is the light of all of them.
    """
    ratio = carried.height / (LEAST_NOISE * carried.noise)
    # where the profile of a normal core falls under the noise
    far = profiles.sigma_px * np.sqrt(2 * np.log(np.maximum(ratio, 1.5))) + 1.0
    far = np.where(ratio > WITH_WINGS, profiles.reach_px, np.minimum(far, profiles.reach_px))
    middle = turn.place(carried.stars, np.full(len(carried.stars), 0.5))
    part = profiles.part(middle)
    laid = []
    for pieces in pieces_of(turn, carried.stars, 0.0, 1.0).parts(PIECES):
        strip = strip_of(pieces, far[pieces.star], 0.5, shape)
        share = profiles.at(part[strip.star], strip.across)
        laid.append(_on_sky(carried, strip, share, still))
    return joined(laid)


def _on_sky(carried: Carried, strip: Strip, share: Float32Array, still: Still) -> Laid:
    """Return the light of stars at those pixels of a strip that show the sky.

    ``share`` (Q,) is how much of the light in the middle of a trail falls on a pixel.
    """
    star, moment = strip.star, strip.moment
    level = carried.level_start[star] * (1 - moment) + carried.level_stop[star] * moment
    own = share * carried.height[star].astype(np.float32)
    codes = still.at(strip.row, strip.column)
    keep = still.alike(codes, level.astype(np.float32), own)
    keep &= own > LEAST_NOISE * carried.noise[star]
    star, late = star[keep], moment[keep, None]
    height = carried.start[star] * (1 - late) + carried.stop[star] * late
    ground = carried.ground_start[star] * (1 - late) + carried.ground_stop[star] * late
    light = (ground + height * share[keep, None]).astype(np.float32)
    burnt = carried.burnt[star]
    light[burnt] = np.minimum(light[burnt], 1)
    return Laid(strip.row[keep], strip.column[keep], light, carried.sure[star].astype(np.float32))


def joined(laid: Sequence[Laid]) -> Laid:
    """Return the light of several, at least one, in one."""
    return Laid(*(np.concatenate([getattr(part, f.name) for part in laid]) for f in fields(Laid)))


def patches_of(laid: Laid, shape: tuple[int, int]) -> list[Patch]:
    """Return the light in squares; where ways cross, that of the brighter star."""
    if len(laid.row) == 0:
        return []
    across = -(-shape[1] // TILE)
    tile = (laid.row // TILE) * across + laid.column // TILE
    tiles, number = np.unique(tile, return_inverse=True)
    light = np.zeros((len(tiles), TILE, TILE, 3), np.float32)
    sure = np.zeros((len(tiles), TILE, TILE), np.float32)
    # of several values for a pixel the last stays: the brightest
    order = np.argsort(laid.light.sum(axis=1), kind="stable")
    at = number[order], laid.row[order] % TILE, laid.column[order] % TILE
    light[at] = laid.light[order]
    sure[at] = laid.sure[order]
    patches = []
    for each, (own, known) in enumerate(zip(light, sure, strict=True)):
        top, left = (int(n) * TILE for n in divmod(tiles[each], across))
        rows, columns = min(TILE, shape[0] - top), min(TILE, shape[1] - left)
        patches.append(Patch(top, left, own[:rows, :columns], known[:rows, :columns]))
    return patches
