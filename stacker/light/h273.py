"""Colour by numbers, as clips and pictures of that family carry them.

Source: ITU-T H.273 (07/2021), tables 2 (primaries), 3 (transfer curves) and 4 (matrices).
"""

from __future__ import annotations

from functools import cache

import numpy as np

from stacker.light.curves import LINEAR, Curve, Float64Array, ParametricCurve
from stacker.light.hdr import HLG_CURVE, PQ_CURVE, HlgCurve, OrdinaryView, PqCurve
from stacker.light.icc import build_profile
from stacker.light.space import (
    BT601_525,
    BT601_625,
    BT709,
    DISPLAY_P3,
    EBU_3213,
    REC2020,
    SRGB,
    ColourSpace,
    made_space,
)
from stacker.light.srgb import SRGB_CURVE

UNSPECIFIED = 2
# of these spaces only the primaries are meant
SPACE_OF_PRIMARIES = {
    1: BT709,
    UNSPECIFIED: BT709,
    5: BT601_625,
    6: BT601_525,
    7: BT601_525,
    9: REC2020,
    12: DISPLAY_P3,
    22: EBU_3213,
}
SMPTE_240M_CURVE = ParametricCurve(1 / 0.45, 1 / 1.1115, 0.1115 / 1.1115, 1 / 4, 4 * 0.0228)
# 6, 14 and 15 are BT.709's curve under other names, 11 and 12 go beyond it where no code lies
NAMED_CURVES: dict[int, tuple[str, Curve]] = {
    1: ("BT.709", BT709.curve),
    # nobody said: codes that are made to look right on an ordinary display
    UNSPECIFIED: ("sRGB", SRGB_CURVE),
    4: ("gamma 2.2", ParametricCurve(2.2)),
    5: ("gamma 2.8", ParametricCurve(2.8)),
    6: ("BT.709", BT709.curve),
    7: ("SMPTE 240M", SMPTE_240M_CURVE),
    8: ("linear", LINEAR),
    11: ("BT.709", BT709.curve),
    12: ("BT.709", BT709.curve),
    13: ("sRGB", SRGB_CURVE),
    14: ("BT.709", BT709.curve),
    15: ("BT.709", BT709.curve),
    16: ("PQ", PQ_CURVE),
    18: ("HLG", HLG_CURVE),
}
WELL_KNOWN = (SRGB, DISPLAY_P3, BT709, BT601_525, BT601_625, EBU_3213, REC2020)
# the shares of red and blue in luma
LUMA_SHARES = {
    1: (0.2126, 0.0722),
    4: (0.30, 0.11),
    5: (0.299, 0.114),
    6: (0.299, 0.114),
    7: (0.212, 0.087),
    9: (0.2627, 0.0593),
}
RGB_MATRIX, YCGCO = 0, 8


@cache
def numbered_space(primaries: int, curve: int) -> ColourSpace:
    """Return the space of numbered primaries and transfer curve, the same object for the same.

    The profile of a space of high dynamic range holds its numbers for programs that know them, and
    for others a curve by which they show an ordinary picture.

    Raises
    ------
    KeyError
        A number that is none of ``SPACE_OF_PRIMARIES`` or of ``NAMED_CURVES``.
    """
    base = SPACE_OF_PRIMARIES[primaries]
    curve_name, function = NAMED_CURVES[curve]
    for known in WELL_KNOWN:
        if known.to_xyz == base.to_xyz and known.curve == function:
            return known
    name = f"{base.name}, {curve_name}"
    if not isinstance(function, HlgCurve | PqCurve):
        return made_space(name, function, base.to_xyz)
    numbers = (primaries if primaries != UNSPECIFIED else 1, curve)
    icc = build_profile(name, OrdinaryView(function), base.to_xyz, numbers=numbers)
    return ColourSpace(name, function, base.to_xyz, icc)


@cache
def rgb_of_ycbcr(matrix: int) -> Float64Array:
    """Return the matrix (3, 3) from Y in [0, 1], Cb and Cr in [-0.5, 0.5] to R, G, B in [0, 1].

    For ``RGB_MATRIX`` the three channels are R, G and B themselves. Read-only.

    Raises
    ------
    KeyError
        A number of another kind, whose colours no such matrix gives.
    """
    if matrix == RGB_MATRIX:
        rows = np.eye(3)
    elif matrix == YCGCO:
        # the second channel is the green one, the third the orange one
        rows = np.array([[1.0, -1.0, 1.0], [1.0, 1.0, 0.0], [1.0, -1.0, -1.0]])
    else:
        red, blue = LUMA_SHARES[matrix]
        green = 1 - red - blue
        from_cr, from_cb = 2 * (1 - red), 2 * (1 - blue)
        rows = np.array(
            [
                [1.0, 0.0, from_cr],
                [1.0, -blue * from_cb / green, -red * from_cr / green],
                [1.0, from_cb, 0.0],
            ]
        )
    rows.flags.writeable = False
    return rows
