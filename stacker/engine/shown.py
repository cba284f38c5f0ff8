"""An exposure as a screen shows it: in its tone, with its histogram, and where it is in doubt."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from stacker.engine.preview import balance_for_reduced
from stacker.engine.settings_file import Chosen
from stacker.engine.shot import Shot
from stacker.finish.shown import CodeArray8, Histogram, histogram_of, shown_codes
from stacker.finish.tone import Tone
from stacker.light.encoding import Picture

# a median is in doubt where no more than the first share of the frames agrees with it, and is not
# from the second on
DOUBTFUL, SURE = 0.5, 0.67


@dataclass(frozen=True, eq=False)
class Shown:
    """What a screen shows: sRGB, uint8 (H, W, 3), and a histogram."""

    codes: CodeArray8
    histogram: Histogram


def show(shot: Shot, chosen: Chosen, *, factor: int = 1) -> Shown:
    """Return an exposure as it will leave, on a screen.

    Parameters
    ----------
    chosen : the tone and the white balance.
    factor : by which the frames were reduced; places in ``chosen`` are those of the full size.

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
    return Shown(codes, histogram_of(picture, shot.space, tone, balance))


def doubt_mask(shot: Shot) -> CodeArray8 | None:
    """Return how much an exposure is in doubt, uint8 (H, W), 0 for not at all.

    Of a median by how few frames agree with it, of bridged gaps by how unsure the bridge is; None
    where there is nothing to doubt.
    """
    width, height = shot.size
    if shot.agreeing is not None:
        agreeing = cv2.resize(shot.agreeing, (width, height), interpolation=cv2.INTER_LINEAR)
        doubt = (SURE - np.asarray(agreeing)) / (SURE - DOUBTFUL)
    elif shot.is_bridged:
        sure = shot.bridge_map()
        doubt = np.where(sure > 0, 1 - sure, 0)
    else:
        return None
    mask: CodeArray8 = np.rint(255 * np.clip(doubt, 0, 1)).astype(np.uint8)
    return mask


def _picture(shot: Shot) -> Picture:
    """Return the picture in one piece; a single one as it is."""
    pieces = list(shot.bands())
    return pieces[0] if len(pieces) == 1 else shot.light
