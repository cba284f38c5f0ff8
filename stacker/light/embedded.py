"""From an embedded profile to what the numbers of a picture mean."""

from __future__ import annotations

import numpy as np

from stacker.light.curves import Curve
from stacker.light.device import ChannelCurves, Tables
from stacker.light.encoding import Encoding, Stored
from stacker.light.icc import GrayProfile, MatrixProfile, ProfileError, TableProfile, parse_profile
from stacker.light.space import REC2020, SRGB, ColourSpace, made_space
from stacker.light.srgb import SRGB_CURVE

# the three curves of cameras and working spaces agree but for rounding
CURVES_AGREE = 1e-3


def encoding_of_profile(icc: bytes, stored: Stored, *, gray: bool = False) -> Encoding:
    """Return what numbers mean by the profile that is embedded beside them.

    ==========================  ==============================================================
    profile                     the light is in, and a result leaves in
    ==========================  ==============================================================
    matrix, one curve           the profile itself, its bytes kept
    matrix, different curves    its primaries, with the curve of sRGB
    tables                      Rec. 2020
    gray                        sRGB, which has the same grays as any other space
    ==========================  ==============================================================

    Parameters
    ----------
    icc : the profile's bytes. For gray pictures one for RGB counts as for equal three channels.
    gray : whether the picture is gray.

    Raises
    ------
    ProfileError
        The profile is broken, of no use, or for gray where the picture has colours.
    """
    profile = parse_profile(icc)
    if isinstance(profile, GrayProfile):
        if not gray:
            raise ProfileError("the profile is for gray, the picture has colours")
        return _with_curve(stored, SRGB, profile.curve)
    if isinstance(profile, TableProfile):
        return Encoding(stored, REC2020, device=Tables(profile.description or "RGB by tables", icc))
    if _curves_agree(profile):
        space = ColourSpace(profile.description, profile.curves[1], profile.to_xyz, icc)
        return _with_curve(stored, space, space.curve)
    name = profile.description or "RGB"
    space = made_space(f"{name}, curve of sRGB", SRGB_CURVE, profile.to_xyz)
    return Encoding(stored, space, device=ChannelCurves(name, *profile.curves))


def _with_curve(stored: Stored, space: ColourSpace, curve: Curve) -> Encoding:
    """Return the encoding of numbers that follow a curve which may be another than the space's."""
    return Encoding(stored, space, None if curve == space.curve else curve)


def _curves_agree(profile: MatrixProfile) -> bool:
    ramp = np.linspace(0, 1, 256)
    red, green, blue = (curve.to_light(ramp) for curve in profile.curves)
    return bool(max(np.abs(red - green).max(), np.abs(blue - green).max()) <= CURVES_AGREE)
