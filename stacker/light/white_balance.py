"""White balance: a gain for each channel of linear light, so that what was grey comes out grey.

================  =================================  ==========================================
step              domain (linear light)              range
================  =================================  ==========================================
``apply_balance`` [0, white]                         [0, white * ``greatest_gain``], monotonic
================  =================================  ==========================================
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.space import ColourSpace, light_from_d65

Gains = tuple[float, float, float]

# the mired of daylight at 6504 K, under which the white of common colour spaces is white
DAYLIGHT_MIRED = 1e6 / 6504
# beyond this the locus of daylight ends
WARMTH_MAX = 100.0
# from this share of white on, gains draw together: 88 % of the code values of common curves
FADE_START = 0.75
# pixels worked on at a time: their light and what is worked out from it stay in the cache
BLOCK_PIXELS = 1 << 15


@dataclass(frozen=True)
class WhiteBalance:
    """How much of each channel's light counts.

    Only the ratio of the gains matters: they are scaled so that a grey keeps its luminance.

    Parameters
    ----------
    gains : factors of red, green and blue light, each above 0.

    Raises
    ------
    ValueError
        They are not three, or one is no positive number.
    """

    gains: Gains = (1.0, 1.0, 1.0)

    def __post_init__(self) -> None:
        if len(self.gains) != 3 or not all(0.0 < gain < inf for gain in self.gains):
            raise ValueError(f"gains of {self.gains}: they must be three positive numbers")

    @property
    def neutral(self) -> bool:
        """Whether the light leaves as it came."""
        return self.gains[0] == self.gains[1] == self.gains[2]

    def scaled_gains(self, space: ColourSpace) -> Gains:
        """Return the gains scaled so that a grey of the space keeps its luminance."""
        if self.neutral:
            return (1.0, 1.0, 1.0)
        kept = sum(w * g for w, g in zip(space.luminance_weights, self.gains, strict=True))
        red, green, blue = self.gains
        return red / kept, green / kept, blue / kept

    def greatest_gain(self, space: ColourSpace) -> float:
        """Return what white is multiplied by, 1 or more."""
        return max(self.scaled_gains(space))


def balance_of_warmth(warmth: float, space: ColourSpace) -> WhiteBalance:
    """Return the white balance that moves grey along the colours of daylight.

    Parameters
    ----------
    warmth : mired, as on a photographer's filters; -100 to 100, above 0 for a warmer picture.
        What was white under 6504 K comes out as daylight of 10^6 / (10^6 / 6504 + warmth) K.
    space : the colour space of the light.

    Notes
    -----
    The new white under 6504 K is brought to the white of the profile (D50) by the linear
    Bradford transform, and its light in the space's primaries gives the gains. At +100 the
    formula for daylight is used 60 K below the 4000 K to which it is stated.

    Source: CIE 15:2018, clause 4.1.2 (relative spectral power of D illuminants: chromaticity);
    ICC.1:2022 annex E (linear Bradford transform).
    """
    if warmth == 0:
        return WhiteBalance()
    kelvin = 1e6 / (DAYLIGHT_MIRED + warmth)
    red, green, blue = light_from_d65(daylight_xy(kelvin), space) / light_from_d65(
        daylight_xy(1e6 / DAYLIGHT_MIRED), space
    )
    return WhiteBalance((float(red), float(green), float(blue)))


def daylight_xy(kelvin: float) -> tuple[float, float]:
    """Return the chromaticity (x, y) of daylight of 4000 to 25000 K.

    Source: CIE 15:2018, clause 4.1.2.
    """
    t = 1000 / kelvin
    if kelvin <= 7000:
        x = -4.6070 * t**3 + 2.9678 * t**2 + 0.09911 * t + 0.244063
    else:
        x = -2.0064 * t**3 + 1.9018 * t**2 + 0.24748 * t + 0.237040
    return x, -3.000 * x**2 + 2.870 * x - 0.275


def apply_balance(
    balance: WhiteBalance, light: LightArray, space: ColourSpace, *, white: float = 1.0
) -> LightArray:
    """Return the balanced light, float32 (H, W, 3); the argument is not changed.

    Parameters
    ----------
    light : float32 (H, W, 3), linear.
    white : the light of what is burnt out in every frame, such as their number for a sum.

    Notes
    -----
    What is burnt out has lost its colour and must not take on that of the gains. So with
    ``m`` the least channel of a pixel over ``white``, and ``t`` rising smoothly from 0 to 1 as
    ``m`` goes from 0.75 to 1 (``3 s^2 - 2 s^3`` of ``s = (m - 0.75) / 0.25``), the gain of
    channel c is ``g_c + t (k - g_c)``, where ``k`` is the greatest of the three. White comes
    out as k times white in all channels: neutral, and brighter than all that was not burnt
    out. Drawing the gains to 1 instead would make burnt light darker than light just below.
    """
    gains = np.array(balance.scaled_gains(space), np.float32)
    out = np.empty(light.shape, np.float32)
    width = light.shape[1]
    row_gains = np.tile(gains, width)
    step = max(1, BLOCK_PIXELS // max(1, width))
    for top in range(0, light.shape[0], step):
        rows = light[top : top + step]
        balanced = out[top : top + step]
        np.multiply(rows.reshape(len(rows), -1), row_gains, out=balanced.reshape(len(rows), -1))
        _draw_together(rows.reshape(-1, 3), balanced.reshape(-1, 3), gains, white)
    return out


def _draw_together(
    light: LightArray, balanced: LightArray, gains: npt.NDArray[np.float32], white: float
) -> None:
    """Let the gains of bright pixels, (N, 3), draw together in ``balanced``."""
    least = np.minimum(np.minimum(light[:, 0], light[:, 1]), light[:, 2])
    bright = np.flatnonzero(least > np.float32(FADE_START * white))
    if bright.size == 0:
        return
    share = (least[bright] / np.float32(white) - np.float32(FADE_START)) / np.float32(
        1 - FADE_START
    )
    np.clip(share, 0.0, 1.0, out=share)
    together = (share * share * (3 - 2 * share))[:, None]
    balanced[bright] = light[bright] * (gains + together * (gains.max() - gains))
