"""The light of a lamp made stronger, weaker or of another colour, and the scene left as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stacker.light.encoding import LightArray

# what a tint does to red, green and blue light; the luminance of white light stays
TINTS: dict[str, tuple[float, float, float]] = {
    "warm": (1.30, 0.95, 0.55),
    "cold": (0.75, 1.0, 1.40),
    "amber": (1.60, 0.90, 0.20),
    "red": (2.0, 0.35, 0.30),
    "green": (0.40, 1.30, 0.40),
    "blue": (0.40, 0.80, 2.50),
}
ROWS = 64


def tint_gains(tint: str, weights: tuple[float, float, float]) -> tuple[float, float, float]:
    """Return the factors (3,) of a tint in a space with these luminance weights."""
    gains = np.array(TINTS[tint])
    red, green, blue = (gains / float(gains @ weights)).tolist()
    return red, green, blue


@dataclass(frozen=True, eq=False)
class LampGains:
    """A ``Correction``: what a frame shows above the unlit scene, times a factor of each channel.

    Parameters
    ----------
    unlit : float32 (H, W, 3), the scene without the lamp, linear light.
    gains : factors of red, green and blue, by the frame's place; other frames are left as they are.
    """

    unlit: LightArray
    gains: Mapping[int, tuple[float, float, float]]

    def __call__(self, light: LightArray, index: int) -> None:
        """Change a frame in place."""
        gains = self.gains.get(index)
        if gains is None:
            return
        factors = np.array(gains, np.float32)
        for top in range(0, len(light), ROWS):
            part = light[top : top + ROWS]
            unlit = self.unlit[top : top + ROWS]
            part -= unlit
            part *= factors
            part += unlit
