"""An exposure as a screen shows it: in its tone, with marks over it, and its histogram."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from stacker.engine.preview import balance_for_reduced
from stacker.engine.settings_file import Chosen
from stacker.engine.shot import Shot
from stacker.finish.shown import (
    CodeArray8,
    Histogram,
    histogram_of,
    mark,
    mark_clipping,
    shown_codes,
)
from stacker.finish.tone import Tone
from stacker.light.encoding import Picture

Overlay = Literal["clipping", "doubt"]
# a median is in doubt where fewer frames agree with it, a bridge where it is less sure
AGREEING, SURE = 0.67, 0.5
NOTHING_IN_DOUBT = "doubt shows for a median and for bridged gaps; there is none in this"


@dataclass(frozen=True, eq=False)
class Shown:
    """What a screen shows: sRGB, uint8 (H, W, 3), a histogram, and sentences."""

    codes: CodeArray8
    histogram: Histogram
    notes: tuple[str, ...] = ()


def show(shot: Shot, chosen: Chosen, *, factor: int = 1, overlay: Overlay | None = None) -> Shown:
    """Return an exposure as it will leave, on a screen.

    Parameters
    ----------
    chosen : the tone and the white balance.
    factor : by which the frames were reduced; places in ``chosen`` are those of the full size.
    overlay : what is marked over the picture.

    Raises
    ------
    OptionError
        Tone or white balance do not make sense.
    """
    finishing = chosen.finishing
    tone = Tone(finishing["exposure_ev"], finishing["shoulder"], shot.brightest)
    balance = balance_for_reduced(chosen.balance, factor).balance_for(shot)
    picture = _picture(shot)
    codes = shown_codes(picture, shot.space, tone, balance)
    histogram = histogram_of(picture, shot.space, tone, balance)
    notes: tuple[str, ...] = ()
    if overlay == "clipping":
        mark_clipping(codes)
    elif overlay == "doubt":
        notes = _mark_doubt(codes, shot)
    return Shown(codes, histogram, notes)


def _picture(shot: Shot) -> Picture:
    """Return the picture in one piece; a single one as it is."""
    pieces = list(shot.bands())
    return pieces[0] if len(pieces) == 1 else shot.light


def _mark_doubt(codes: CodeArray8, shot: Shot) -> tuple[str, ...]:
    """Mark in place where an exposure is in doubt; return sentences."""
    height, width = codes.shape[:2]
    if shot.agreeing is not None:
        share = cv2.resize(shot.agreeing, (width, height), interpolation=cv2.INTER_NEAREST)
        mark(codes, np.asarray(share) < AGREEING)
        return ()
    if shot.is_bridged:
        sure = shot.bridge_map()
        mark(codes, (sure > 0) & (sure < SURE))
        return ()
    return (NOTHING_IN_DOUBT,)
