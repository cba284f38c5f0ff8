"""The light of a gap at full size: both frames carried along their ways to many moments."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from stacker.bridge.base import Patch
from stacker.bridge.flow.motion import look_at
from stacker.bridge.flow.passage import Moment
from stacker.bridge.flow.tones import Tone
from stacker.light.encoding import LightArray

# pieces are worked on one by one: small enough for the cache, and no larger than what moves needs
PIECE_ROWS, PIECE_COLUMNS = 96, 256


@dataclass(frozen=True)
class Shares:
    """How much of the gap's light there is, and of which frame it takes the place.

    ``gap`` is the sum of ``earlier`` and ``later``, so that brightness stays.
    """

    gap: float
    earlier: float
    later: float


def patches_of(
    earlier: LightArray,
    later: LightArray,
    between: Sequence[Moment],
    trust: Tone,
    shares: Shares,
    pixels: tuple[float, float],
    corner: tuple[int, int] = (0, 0),
) -> list[Patch]:
    """Return what is to be added to the sum of the frames, where there is trust.

    Parameters
    ----------
    earlier, later : float32 (H, W, 3), linear; not changed.
    between : moments evenly spread over the gap.
    trust : float32 (h, w), exactly 0 where nothing is to be added.
    pixels : along the side of a knot of ``between``, and of a cell of ``trust``.
    corner : the pixel (x, y) at which the first knot and the first cell begin.
    """
    knot, cell = pixels
    right = min(earlier.shape[1], corner[0] + math.ceil((trust.shape[1] + 1) * cell))
    bottom = min(earlier.shape[0], corner[1] + math.ceil((trust.shape[0] + 1) * cell))
    patches = []
    for top in range(corner[1], bottom, PIECE_ROWS):
        for left in range(corner[0], right, PIECE_COLUMNS):
            size = (min(PIECE_COLUMNS, right - left), min(PIECE_ROWS, bottom - top))
            sure = _enlarged(trust, cell, (left - corner[0], top - corner[1], *size))
            rows = np.flatnonzero(sure.any(axis=1))
            columns = np.flatnonzero(sure.any(axis=0))
            if len(rows) == 0:
                continue
            y, x = int(rows[0]), int(columns[0])
            sure = np.ascontiguousarray(sure[y : rows[-1] + 1, x : columns[-1] + 1])
            place = (left + x, top + y, sure.shape[1], sure.shape[0])
            light = _woven(earlier, later, between, place, knot, corner)
            window = (slice(place[1], place[1] + place[3]), slice(place[0], place[0] + place[2]))
            light *= np.float32(shares.gap)
            light -= np.float32(shares.earlier) * earlier[window]
            light -= np.float32(shares.later) * later[window]
            light *= sure[..., None]
            patches.append(Patch(place[1], place[0], light, sure))
    return patches


def _woven(
    earlier: LightArray,
    later: LightArray,
    between: Sequence[Moment],
    place: tuple[int, int, int, int],
    knot: float,
    corner: tuple[int, int],
) -> LightArray:
    """Return the mean light of the moments in a rectangle (left, top, width, height)."""
    left, top, width, height = place
    y, x = np.mgrid[top : top + height, left : left + width].astype(np.float32)
    places = np.stack([x, y], axis=-1)
    total = np.zeros((height, width, 3), np.float32)
    within = (left - corner[0], top - corner[1], width, height)
    for moment in between:
        ways = _enlarged(moment.ways, knot, within) * np.float32(knot)
        share = _enlarged(moment.of_earlier, knot, within)
        one = look_at(earlier, places + ways[..., :2])
        other = look_at(later, places + ways[..., 2:])
        one -= other
        one *= share[..., None]
        one += other
        total += one
    total *= np.float32(1 / len(between))
    return total


def _enlarged(values: Tone, pixels: float, place: tuple[int, int, int, int]) -> Tone:
    """Return values of cells so many pixels wide in a rectangle (left, top, width, height)."""
    left, top, *size = place
    scale = 1 / pixels
    # the centre of cell 0 lies half a cell less half a pixel from the centre of pixel 0
    offset = (0.5 - 0.5 * pixels) * scale
    to_cells = np.array([[scale, 0, left * scale + offset], [0, scale, top * scale + offset]])
    return np.asarray(
        cv2.warpAffine(
            values, to_cells, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_REPLICATE,
        ),
        np.float32,
    )  # fmt: skip
