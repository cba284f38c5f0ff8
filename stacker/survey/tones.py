"""The tones of a picture: how much of it lies at each stop of light, and what is at a limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.luminance import greatest_channel, luminance

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
LimitArray = npt.NDArray[np.uint8]

# stops against white from which and to which light is told apart, and how finely; a sum of
# frames goes beyond white
DARKEST_STOP, BRIGHTEST_STOP, PER_STOP = -12, 8, 4
# white less a thousandth, which is a quarter of a step of 8 bits up there: burnt out; and light
# that no file tells from black
BURNT, BLACK = 0.999, 2.0**-16
NEITHER, IS_BURNT, IS_BLACK = 0, 1, 2
# of a larger picture evenly spaced rows are counted
COUNTED_PIXELS = 4_000_000


def counted_rows(size: tuple[int, int]) -> int:
    """Return which rows of a picture of (width, height) tell its tones: every so many."""
    return max(1, size[0] * size[1] // COUNTED_PIXELS)


@dataclass(frozen=True, eq=False)
class Tones:
    """How the light of a picture is spread.

    Parameters
    ----------
    stops : float64 (B,), the lower end of each bin against white, log2 of luminance.
    shares : float64 (B,), the share of the picture in each; what is darker lies in the first.
    burnt, black : the shares of the picture that are at the limit in a channel, and black in all.
    """

    stops: FloatArray
    shares: FloatArray
    burnt: float
    black: float

    @property
    def range_stops(self) -> float:
        """Stops from the darkest hundredth of the picture to the brightest."""
        risen = np.cumsum(self.shares)
        low, high = np.searchsorted(risen, [0.01, 0.99])
        last = len(self.stops) - 1
        return float(self.stops[min(high, last)] - self.stops[min(low, last)])

    @property
    def middle_stop(self) -> float:
        """The stop below which half of the picture lies."""
        place = int(np.searchsorted(np.cumsum(self.shares), 0.5))
        return float(self.stops[min(place, len(self.stops) - 1)])


class ToneCounter:
    """Counts the tones of a picture that comes in pieces."""

    def __init__(self, weights: tuple[float, float, float]) -> None:
        self._weights = weights
        self._counts = np.zeros((BRIGHTEST_STOP - DARKEST_STOP) * PER_STOP)
        self._burnt = self._black = self._pixels = 0

    def add(self, light: LightArray) -> None:
        """Count a piece, float32 (h, W, 3), linear light; h may be 0."""
        if not len(light):
            return
        bright = luminance(np.ascontiguousarray(light), self._weights)
        stops = np.log2(np.maximum(bright, np.float32(2.0**DARKEST_STOP)))
        places = ((stops - DARKEST_STOP) * PER_STOP).astype(np.intp)
        places = np.clip(places, 0, len(self._counts) - 1)
        self._counts += np.bincount(places.ravel(), minlength=len(self._counts))
        limits = limits_of(light)
        self._burnt += int(np.count_nonzero(limits == IS_BURNT))
        self._black += int(np.count_nonzero(limits == IS_BLACK))
        self._pixels += limits.size

    def tones(self) -> Tones:
        """Return the tones of all that was counted."""
        pixels = max(1, self._pixels)
        return Tones(
            DARKEST_STOP + np.arange(len(self._counts)) / PER_STOP,
            self._counts / pixels,
            self._burnt / pixels,
            self._black / pixels,
        )


def limits_of(light: LightArray) -> LimitArray:
    """Return which pixels are burnt out in a channel (1) or black in all (2), uint8 (h, W)."""
    greatest = greatest_channel(light)
    limits: LimitArray = (greatest >= BURNT).astype(np.uint8)
    limits[greatest <= BLACK] = IS_BLACK
    return limits
