"""Light as the 8-bit sRGB of a small picture on a page."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.finish.tone import Tone, apply
from stacker.light.convert import conversion, convert_light
from stacker.light.encoding import LightArray, as_light
from stacker.light.space import SRGB, ColourSpace, same_space
from stacker.light.srgb import linear_to_srgb
from stacker.light.white_balance import WhiteBalance, apply_balance


def preview_codes(
    light: LightArray,
    space: ColourSpace,
    tone: Tone | None = None,
    white_balance: WhiteBalance | None = None,
) -> npt.NDArray[np.uint8]:
    """Return light as sRGB, uint8 (h, w, 3); what lies outside is clipped.

    Parameters
    ----------
    light : float32 (h, w, 3), linear, in ``space``; not changed.
    tone, white_balance : as for ``save_picture``; none if None.
    """
    if white_balance is not None and not white_balance.neutral:
        light = apply_balance(white_balance, light, space, white=tone.brightest if tone else 1.0)
    if tone is not None:
        light = as_light(apply(tone, light))
    if not same_space(space, SRGB):
        out = np.empty(light.shape, np.float32)
        convert_light(np.ascontiguousarray(light), conversion(space, SRGB), out=out)
        light = out
    codes = linear_to_srgb(np.clip(light, 0.0, 1.0)) * 255
    return np.rint(codes).astype(np.uint8)
