"""Transfer functions of high dynamic range: HLG and PQ.

Source: Recommendation ITU-R BT.2100-2, table 5 (HLG, the inverse OETF) and table 4 (PQ, the EOTF).

==============  ==========  =========================================  =====================
curve           code value  light                                      beyond its domain
==============  ==========  =========================================  =====================
``HlgCurve``    [0, 1]      [0, 1], of the scene; diffuse white 0.265  dark clipped, bright
                                                                       goes on by its formula
``PqCurve``     [0, 1]      [0, 1] of 10000 cd/m2; diffuse white 0.02  clipped to its ends
==============  ==========  =========================================  =====================

Light 1.0 is the brightest that the codes can hold, so that nothing is cut. Diffuse white, as paper
in full light, lies far below it: at 75 % of the HLG signal, at 203 cd/m2 (Report ITU-R BT.2408).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.light.curves import Float64Array
from stacker.light.srgb import srgb_to_linear

HLG_A, HLG_B, HLG_C = 0.17883277, 0.28466892, 0.55991073
PQ_M1, PQ_M2 = 2610 / 16384, 2523 / 4096 * 128
PQ_C1, PQ_C2, PQ_C3 = 3424 / 4096, 2413 / 4096 * 32, 2392 / 4096 * 32
PQ_PEAK = 10000.0
# an HLG display of this peak in cd/m2 raises scene light to this power (BT.2100-2 note 5f)
HLG_PEAK, HLG_SYSTEM_GAMMA = 1000.0, 1.2


@dataclass(frozen=True)
class HlgCurve:
    """Hybrid log-gamma: a square root in the dark, a logarithm above half the signal."""

    def to_light(self, code: npt.ArrayLike) -> Float64Array:
        """Return linear light of the scene, float64 of the same shape, from scaled codes."""
        x = np.maximum(np.asarray(code, dtype=np.float64), 0.0)
        bright = (np.exp((np.maximum(x, 0.5) - HLG_C) / HLG_A) + HLG_B) / 12
        return np.where(x <= 0.5, x**2 / 3, bright)

    def from_light(self, light: npt.ArrayLike) -> Float64Array:
        """Return scaled codes, float64 of the same shape, from linear light of the scene."""
        y = np.maximum(np.asarray(light, dtype=np.float64), 0.0)
        bright = HLG_A * np.log(12 * np.maximum(y, 1 / 12) - HLG_B) + HLG_C
        return np.where(y <= 1 / 12, np.sqrt(3 * y), bright)


@dataclass(frozen=True)
class PqCurve:
    """The perceptual quantizer: codes for absolute luminance, of which 10000 cd/m2 is 1.0."""

    def to_light(self, code: npt.ArrayLike) -> Float64Array:
        """Return linear light of the display, float64 of the same shape, from scaled codes."""
        root = np.clip(np.asarray(code, dtype=np.float64), 0.0, 1.0) ** (1 / PQ_M2)
        return (np.maximum(root - PQ_C1, 0.0) / (PQ_C2 - PQ_C3 * root)) ** (1 / PQ_M1)

    def from_light(self, light: npt.ArrayLike) -> Float64Array:
        """Return scaled codes, float64 of the same shape, from linear light of the display."""
        power = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0) ** PQ_M1
        return ((PQ_C1 + PQ_C2 * power) / (1 + PQ_C3 * power)) ** PQ_M2


HLG_CURVE = HlgCurve()
PQ_CURVE = PqCurve()


@dataclass(frozen=True)
class OrdinaryView:
    """How codes of high dynamic range are shown by programs that know no such thing; one way only.

    HLG was made so that its codes, shown on an ordinary display as they are, give an ordinary
    picture. PQ codes are shown as the HLG codes of the same light on a display of 1000 cd/m2; what
    is brighter is shown as white.
    """

    curve: HlgCurve | PqCurve

    def to_light(self, code: npt.ArrayLike) -> Float64Array:
        """Return the light that is shown, float64 of the same shape, from scaled codes."""
        shown = np.asarray(code, dtype=np.float64)
        if isinstance(self.curve, PqCurve):
            display = np.minimum(self.curve.to_light(shown) * (PQ_PEAK / HLG_PEAK), 1.0)
            shown = HLG_CURVE.from_light(display ** (1 / HLG_SYSTEM_GAMMA))
        return srgb_to_linear(shown)
