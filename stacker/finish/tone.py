"""Tone: how bright the light leaves, and how what is brighter than white bends into it.

==============  =======================  =====================  ===========================
step            domain (linear light)    range                  beyond the domain
==============  =======================  =====================  ===========================
exposure        any                      any                    multiplied by 2^EV
shoulder        [0, brightest * 2^EV]    [0, 1]                 goes on by its formula
==============  =======================  =====================  ===========================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import inf, log1p

import numpy as np
import numpy.typing as npt

from stacker.errors import OptionError
from stacker.light.encoding import BLOCK_SAMPLES, CodedLight, LightArray, Picture

# light up to here is left as it is: about 80 % of the code values of common curves
KNEE = 0.6
# far beyond any picture, near enough for the gain to stay an ordinary number
STOPS_MAX = 32
# halvings of the exponent's range until the bend is known to the last bit of a float64
HALVINGS = 80
# 2 to these powers hold every bend from "nearly a corner" to "nearly straight"
BEND_EXPONENTS = (-60.0, 60.0)


@dataclass(frozen=True)
class Tone:
    """How the light is brought into the range of a picture.

    Parameters
    ----------
    exposure_ev : stops by which the light is made brighter, negative for darker.
    shoulder : bend light above the knee so that the brightest possible comes out as white.
    brightest : the greatest light the picture can hold before ``exposure_ev``, such as the
        number of frames for a sum.

    Raises
    ------
    OptionError
        ``option-exposure``: the exposure is no number within 32 stops, or the brightest light
        is no positive number.
    """

    exposure_ev: float = 0.0
    shoulder: bool = False
    brightest: float = 1.0

    def __post_init__(self) -> None:
        if not abs(self.exposure_ev) <= STOPS_MAX:
            raise OptionError(
                f"--exposure {self.exposure_ev:g}",
                "that many stops make no sense",
                remedy=f"give a number from -{STOPS_MAX} to {STOPS_MAX}",
                code="option-exposure",
            )
        if not 0.0 < self.brightest < inf:
            raise OptionError(
                f"brightest light {self.brightest}",
                "it must be a positive number",
                code="option-exposure",
            )

    @property
    def gain(self) -> float:
        """What the light is multiplied by."""
        return float(2.0**self.exposure_ev)

    @property
    def peak(self) -> float:
        """The greatest light there can be after the exposure."""
        return self.brightest * self.gain

    @property
    def bends(self) -> bool:
        """Whether there is anything for the shoulder to do."""
        return self.shoulder and self.peak > 1.0

    @property
    def neutral(self) -> bool:
        """Whether the light leaves as it came."""
        return self.gain == 1.0 and not self.bends


def apply(tone: Tone, picture: Picture) -> Picture:
    """Return the picture in the given tone, of the same kind; the argument is not changed.

    A neutral tone gives back the very picture. Coded light has its table changed, in float64,
    and shares its codes.

    Parameters
    ----------
    picture : float32 (H, W, 3) linear light, or coded light.
    """
    if tone.neutral:
        return picture
    if isinstance(picture, CodedLight):
        return CodedLight(picture.codes, tone_table(tone, picture.table))
    return _tone_light(tone, picture)


def tone_table(tone: Tone, light: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the light after exposure and shoulder, float64 of the same shape, not in place."""
    toned = np.asarray(light, np.float64) * tone.gain
    if not tone.bends:
        return toned
    bend = shoulder_bend(tone.peak)
    above = np.maximum(toned - KNEE, 0.0)
    return np.where(toned > KNEE, KNEE + bend * np.log1p(above / bend), toned)


def _tone_light(tone: Tone, light: LightArray) -> LightArray:
    # in row order whatever the argument's, so that the flat view below is no copy
    out = np.multiply(light, np.float32(tone.gain), order="C")
    if not tone.bends:
        return out
    bend = np.float32(shoulder_bend(tone.peak))
    knee = np.float32(KNEE)
    flat = out.reshape(-1)
    for start in range(0, flat.size, BLOCK_SAMPLES):
        block = flat[start : start + BLOCK_SAMPLES]
        bright = np.flatnonzero(block > knee)
        if bright.size:
            above = (block[bright] - knee) / bend
            block[bright] = knee + bend * np.log1p(above)
    return out


@lru_cache(maxsize=16)
def shoulder_bend(peak: float) -> float:
    """Return the bend s of the shoulder that takes ``peak`` to 1.

    Above the knee k the shoulder is ``y = k + s ln(1 + (x - k) / s)``: it leaves the knee with
    slope 1 and never stops rising. The value at the peak grows with s, so s is found by
    halving.

    Raises
    ------
    ValueError
        ``peak`` is not above 1: there is nothing to bend.
    """
    if not peak > 1.0:
        raise ValueError(f"a peak of {peak} needs no shoulder")
    low, high = BEND_EXPONENTS
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        bend = 2.0**middle
        if KNEE + bend * log1p((peak - KNEE) / bend) < 1.0:
            low = middle
        else:
            high = middle
    return float(2.0**high)
