"""What is kept of a result, in one reading from top to bottom, for the report as a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from stacker.engine.shot import Shot
from stacker.finish import Tone
from stacker.finish.preview import preview_codes
from stacker.finish.tone import apply
from stacker.light.encoding import LightArray, PixelArray, as_light
from stacker.light.white_balance import WhiteBalance, apply_balance
from stacker.survey.still_squares import WHOLE
from stacker.survey.tones import LimitArray, ToneCounter, Tones, counted_rows, limits_of

# pixels along the longer side of the picture on the page
PICTURE_PX = 1280
# rows looked at together: their light stays below some tens of megabytes
PIECE_PIXELS = 1 << 20


@dataclass(frozen=True, eq=False)
class ResultLook:
    """What is kept of a result.

    Parameters
    ----------
    picture : sRGB, uint8 (h, w, 3), reduced, in the tone in which it leaves.
    limits : uint8 (h, w) of the same size: 1 where something is burnt out, 2 where all is black.
    tones : of the result as it leaves.
    squares : float32 (S, side, side, 3), the light of the squares asked for, before the tone.
    """

    picture: PixelArray
    limits: LimitArray
    tones: Tones
    squares: LightArray


def look_at_result(
    shot: Shot, report: Mapping[str, Any], corners: Sequence[tuple[int, int]]
) -> ResultLook:
    """Return what is kept of a result, finished as its report says.

    Parameters
    ----------
    corners : rows and columns of squares of ``WHOLE`` pixels a side.
    """
    said = report["settings"]
    balance = said.get("white_balance")
    white_balance = WhiteBalance(tuple(balance["gains"])) if balance else None
    brightest = shot.brightest
    if white_balance is not None:
        brightest *= white_balance.greatest_gain(shot.space)
    tone = Tone(
        exposure_ev=said.get("exposure_ev", 0.0),
        shoulder=said.get("shoulder", False),
        brightest=brightest,
    )
    factor = max(1, -(-max(shot.size) // PICTURE_PX))
    every = counted_rows(shot.size)
    counter = ToneCounter(shot.space.luminance_weights)
    squares = np.zeros((len(corners), WHOLE, WHOLE, 3), np.float32)
    pictures, limits, rest, done = [], [], np.empty((0, shot.size[0], 3), np.float32), 0
    for light in _pieces(shot):
        _cut(light, done, corners, squares)
        if white_balance is not None and not white_balance.neutral:
            light = apply_balance(white_balance, light, shot.space, white=shot.brightest)
        light = as_light(apply(tone, light))
        # the step goes on from piece to piece
        counter.add(light[-done % every :: every])
        done += len(light)
        rest = np.concatenate([rest, light])
        rows = len(rest) // factor * factor
        if rows:
            small, at = _reduced(rest[:rows], factor)
            pictures.append(preview_codes(small, shot.space))
            limits.append(at)
            rest = rest[rows:]
    return ResultLook(np.concatenate(pictures), np.concatenate(limits), counter.tones(), squares)


def _pieces(shot: Shot) -> Any:
    rows = max(1, PIECE_PIXELS // shot.size[0])
    for band in shot.bands():
        light = as_light(band)
        for top in range(0, len(light), rows):
            yield light[top : top + rows]


def _cut(
    light: LightArray, top: int, corners: Sequence[tuple[int, int]], squares: LightArray
) -> None:
    """Copy what a piece that begins at row ``top`` holds of each square."""
    for number, (y, x) in enumerate(corners):
        first, last = max(y, top), min(y + WHOLE, top + len(light))
        if first < last:
            squares[number, first - y : last - y] = light[first - top : last - top, x : x + WHOLE]


def _reduced(light: LightArray, factor: int) -> tuple[LightArray, LimitArray]:
    """Return light by cells, and the limits in them: one burnt pixel shows, black takes all."""
    height, width = light.shape[0] // factor, light.shape[1] // factor
    whole = light[:, : width * factor]
    # what is beyond white is white to the eye: averaged otherwise, lamps would grow
    small = cv2.resize(np.clip(whole, 0, 1), (width, height), interpolation=cv2.INTER_AREA)
    cells = limits_of(whole).reshape(height, factor, width, factor)
    at = (cells == 1).any(axis=(1, 3)).astype(np.uint8)
    at[(cells == 2).all(axis=(1, 3))] = 2
    return np.asarray(small, np.float32), at
