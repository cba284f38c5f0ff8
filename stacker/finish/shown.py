"""A picture as a screen shows it, quickly: 8-bit sRGB codes, histogram, what is clipped.

Tone and curve are done to a table of some thousand entries instead of every pixel, wherever they
are done to each channel alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.finish.tone import Tone, apply, tone_table
from stacker.light.convert import conversion, convert_light
from stacker.light.encoding import (
    BLOCK_SAMPLES,
    CODE_MAX,
    CodedLight,
    LightArray,
    Picture,
    as_light,
    look_up,
)
from stacker.light.space import SRGB, ColourSpace, same_space
from stacker.light.srgb import linear_to_srgb
from stacker.light.white_balance import WhiteBalance, apply_balance

CodeArray8 = npt.NDArray[np.uint8]
# a histogram tells stops below white, and one above it
STOPS_BELOW, STOPS_ABOVE, BINS_PER_STOP = 12, 1, 4
# pixels looked at for a histogram
SAMPLE = 150_000


@dataclass(frozen=True)
class Histogram:
    """How much of the picture is how bright.

    Parameters
    ----------
    edges_stops : edges of the bins in stops below (negative) or above white.
    counts : of red, green and blue, the share of the pixels in each bin; what is darker than the
        first edge counts in the first bin, what is brighter than the last in the last.
    """

    edges_stops: tuple[float, ...]
    counts: dict[str, tuple[float, ...]]


def shown_codes(
    picture: Picture, space: ColourSpace, tone: Tone, balance: WhiteBalance | None = None
) -> CodeArray8:
    """Return a picture as sRGB, uint8 (H, W, 3); what lies outside is clipped.

    Parameters
    ----------
    picture : (H, W, 3) in ``space``; not changed.
    tone, balance : as for ``save_picture``.
    """
    balanced = balance is not None and not balance.neutral
    if isinstance(picture, CodedLight) and not balanced and same_space(space, SRGB):
        return look_up(picture.codes, _codes_of(tone_table(tone, picture.table)))
    light = as_light(picture)
    if balanced:
        assert balance is not None
        light = apply_balance(balance, light, space, white=tone.brightest)
        tone = Tone(tone.exposure_ev, tone.shoulder, tone.brightest * balance.greatest_gain(space))
    if not same_space(space, SRGB):
        toned = np.ascontiguousarray(as_light(apply(tone, light)))
        light, tone = np.empty(toned.shape, np.float32), Tone()
        convert_light(toned, conversion(space, SRGB), out=light)
    return _by_table(light, tone)


def histogram_of(
    picture: Picture, space: ColourSpace, tone: Tone, balance: WhiteBalance | None = None
) -> Histogram:
    """Return the histogram of a picture in its tone, before what is beyond white is clipped.

    Parameters are those of ``shown_codes``; large pictures are judged by evenly spaced pixels.
    """
    pixels = picture.codes if isinstance(picture, CodedLight) else picture
    step = max(1, round(np.sqrt(pixels.shape[0] * pixels.shape[1] / SAMPLE)))
    part = np.ascontiguousarray(pixels[step // 2 :: step, step // 2 :: step])
    light = as_light(CodedLight(part, picture.table) if isinstance(picture, CodedLight) else part)
    if balance is not None:
        light = apply_balance(balance, light, space, white=tone.brightest)
    light = as_light(apply(tone, light))
    bins = (STOPS_BELOW + STOPS_ABOVE) * BINS_PER_STOP
    stops = np.log2(np.maximum(light, np.float32(2.0 ** -(STOPS_BELOW + 1))))
    numbers = np.floor((stops + STOPS_BELOW) * BINS_PER_STOP).clip(0, bins - 1).astype(np.intp)
    total = numbers.shape[0] * numbers.shape[1]
    counts = {
        name: tuple(
            np.round(np.bincount(numbers[..., k].ravel(), minlength=bins) / total, 6).tolist()
        )
        for k, name in enumerate("rgb")
    }
    edges = tuple(k / BINS_PER_STOP - STOPS_BELOW for k in range(bins + 1))
    return Histogram(edges, counts)


def clipping_mask(codes: CodeArray8) -> CodeArray8:
    """Return 255 where a picture is white in a channel or black in all, else 0, uint8 (H, W)."""
    greatest = codes.max(axis=2)
    return np.where((greatest == 255) | (greatest == 0), np.uint8(255), np.uint8(0))


def _codes_of(light: npt.NDArray[np.float64]) -> CodeArray8:
    return np.rint(linear_to_srgb(np.clip(light, 0.0, 1.0)) * 255).astype(np.uint8)


def _by_table(light: LightArray, tone: Tone) -> CodeArray8:
    """Return light in its tone as codes.

    The root of the light picks an entry of a table; entries lie closer than a tenth of a code.
    """
    # what comes out beyond white is white
    top = min(tone.brightest, 1.0 / tone.gain) if not tone.bends else tone.brightest
    roots = np.arange(CODE_MAX + 1) / CODE_MAX
    table = cast(Any, _codes_of(tone_table(tone, top * roots**2)))
    out = np.empty(light.shape, np.uint8)
    flat, flat_out = np.ascontiguousarray(light).reshape(-1), out.reshape(1, -1)
    scale = np.float32(CODE_MAX**2 / top)
    for start in range(0, flat.size, BLOCK_SAMPLES):
        block = flat[start : start + BLOCK_SAMPLES] * scale
        np.clip(block, 0, np.float32(CODE_MAX**2), out=block)
        np.sqrt(block, out=block)
        block += np.float32(0.5)
        target = flat_out[:, start : start + block.size]
        cv2.LUT(block.astype(np.uint16).reshape(1, -1), table, target)
    return out
