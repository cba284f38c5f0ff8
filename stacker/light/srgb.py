"""The sRGB transfer function and its inverse.

Source: IEC 61966-2-1:1999, clauses 5.2 and 5.3.

==================  ========  ========  =========================================
function            domain    range     beyond the domain
==================  ========  ========  =========================================
``srgb_to_linear``  [0, 1]    [0, 1]    straight below 0, the power law above 1
``linear_to_srgb``  [0, 1]    [0, 1]    straight below 0, the power law above 1
==================  ========  ========  =========================================
"""

from __future__ import annotations

import numpy.typing as npt

from stacker.light.curves import Float64Array, ParametricCurve

SRGB_CURVE = ParametricCurve(g=2.4, a=1 / 1.055, b=0.055 / 1.055, c=1 / 12.92, d=0.04045)


def srgb_to_linear(code: npt.ArrayLike) -> Float64Array:
    """Return linear light, float64 of the same shape, from sRGB values scaled to [0, 1]."""
    return SRGB_CURVE.to_light(code)


def linear_to_srgb(light: npt.ArrayLike) -> Float64Array:
    """Return sRGB values scaled to [0, 1], float64 of the same shape, from linear light."""
    return SRGB_CURVE.from_light(light)
