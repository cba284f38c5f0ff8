"""Colour spaces: a transfer function, primaries, and the profile that says so in a file.

Sources: sRGB IEC 61966-2-1:1999; Adobe RGB (1998) Color Image Encoding, version 2005-05;
Display P3 as SMPTE EG 432-1 primaries with the sRGB curve; Recommendation ITU-R BT.2020-2, tables 3
(primaries) and 4 (the inverse of the camera's curve); BT.709-6; BT.601-7; EBU Tech 3213. Matrices
are adapted to D50 by the linear Bradford transform (ICC.1:2022 annex E).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, cached_property, lru_cache

import numpy as np

from stacker.light.curves import LINEAR, Curve, Float64Array, ParametricCurve
from stacker.light.icc import D50, Matrix, build_profile
from stacker.light.srgb import SRGB_CURVE

D65_XY = (0.3127, 0.3290)
# where foot and power law of BT.2020 meet with one slope, to more digits than the table gives
BT2020_ALPHA, BT2020_BETA = 1.09929682680944, 0.018053968510807
# profiles of one space by different makers differ by less, those of two spaces by far more
SPACE_ROUNDING = 2e-3
RAMP_STEPS = 256
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


@dataclass(frozen=True)
class ColourSpace:
    """An RGB space.

    ``to_xyz`` takes linear RGB to CIE XYZ under D50; ``icc`` is the profile to embed.
    """

    name: str
    curve: Curve
    to_xyz: Matrix
    icc: bytes

    @cached_property
    def luminance_weights(self) -> tuple[float, float, float]:
        """The share of each linear channel in the luminance Y under D65, summing to one."""
        row = (np.linalg.inv(_d65_to_d50()) @ np.asarray(self.to_xyz))[1]
        red, green, blue = row / row.sum()
        return float(red), float(green), float(blue)


@lru_cache(maxsize=64)
def same_colour(one: tuple[Curve, Matrix], two: tuple[Curve, Matrix]) -> bool:
    """Return whether two pairs of curve and matrix are one but for the rounding of profiles."""
    if one == two:
        return True
    ramp = np.linspace(0.0, 1.0, RAMP_STEPS)
    off = np.abs(one[0].to_light(ramp) - two[0].to_light(ramp)).max()
    return bool(max(off, np.abs(np.subtract(one[1], two[1])).max()) < SPACE_ROUNDING)


def same_space(one: ColourSpace, two: ColourSpace) -> bool:
    """Return whether two spaces are one but for the rounding of their profiles."""
    return same_colour((one.curve, one.to_xyz), (two.curve, two.to_xyz))


def _primaries_to_xyz(
    red: tuple[float, float], green: tuple[float, float], blue: tuple[float, float]
) -> Matrix:
    """Return linear RGB to XYZ under D50 from chromaticities (x, y) under D65."""
    columns = np.array([_xyz_of(red), _xyz_of(green), _xyz_of(blue)]).T
    native = columns * np.linalg.solve(columns, _xyz_of(D65_XY))
    rows = _d65_to_d50() @ native
    return tuple((float(r[0]), float(r[1]), float(r[2])) for r in rows)


def _xyz_of(xy: tuple[float, float]) -> Float64Array:
    """Return the XYZ of a chromaticity at Y = 1."""
    return np.array([xy[0] / xy[1], 1.0, (1 - xy[0] - xy[1]) / xy[1]])


def _d65_to_d50() -> Float64Array:
    """Return the Bradford matrix that takes XYZ under D65 to XYZ under D50."""
    scale = np.diag(BRADFORD @ D50 / (BRADFORD @ _xyz_of(D65_XY)))
    matrix: Float64Array = np.linalg.inv(BRADFORD) @ scale @ BRADFORD
    return matrix


def light_from_d65(xy: tuple[float, float], space: ColourSpace) -> Float64Array:
    """Return the linear light, float64 (3,), of a chromaticity under D65 with luminance Y = 1.

    Brought to the profile's D50 by the linear Bradford transform.
    """
    light: Float64Array = np.linalg.solve(np.asarray(space.to_xyz), _d65_to_d50() @ _xyz_of(xy))
    return light


def made_space(name: str, curve: Curve, to_xyz: Matrix) -> ColourSpace:
    """Return a space with a profile written for it."""
    return ColourSpace(name, curve, to_xyz, build_profile(name, curve, to_xyz))


SRGB = made_space("sRGB", SRGB_CURVE, _primaries_to_xyz((0.64, 0.33), (0.30, 0.60), (0.15, 0.06)))
DISPLAY_P3 = made_space(
    "Display P3", SRGB_CURVE, _primaries_to_xyz((0.68, 0.32), (0.265, 0.69), (0.15, 0.06))
)
ADOBE_RGB = made_space(
    "Adobe RGB (1998)",
    ParametricCurve(563 / 256),
    _primaries_to_xyz((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)),
)
REC2020 = made_space(
    "Rec. 2020",
    ParametricCurve(
        g=1 / 0.45,
        a=1 / BT2020_ALPHA,
        b=1 - 1 / BT2020_ALPHA,
        c=1 / 4.5,
        d=4.5 * BT2020_BETA,
    ),
    _primaries_to_xyz((0.708, 0.292), (0.170, 0.797), (0.131, 0.046)),
)
# what video cameras write: one curve for all, that of BT.2020
BT709 = made_space("BT.709", REC2020.curve, SRGB.to_xyz)
BT601_525 = made_space(
    "BT.601 with 525 lines",
    REC2020.curve,
    _primaries_to_xyz((0.630, 0.340), (0.310, 0.595), (0.155, 0.070)),
)
BT601_625 = made_space(
    "BT.601 with 625 lines",
    REC2020.curve,
    _primaries_to_xyz((0.64, 0.33), (0.29, 0.60), (0.15, 0.06)),
)
EBU_3213 = made_space(
    "EBU Tech 3213",
    REC2020.curve,
    _primaries_to_xyz((0.630, 0.340), (0.295, 0.605), (0.155, 0.077)),
)


@cache
def linear_twin(space: ColourSpace) -> ColourSpace:
    """Return the space of the same primaries in which the numbers are linear light."""
    return made_space(f"{space.name or 'RGB'}, linear light", LINEAR, space.to_xyz)
