"""The white balance of a run: chosen by warmth, by gains, or by a spot that shall be grey."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stacker.errors import OptionError
from stacker.light.encoding import CodedLight, LightArray, as_light
from stacker.light.space import ColourSpace
from stacker.light.white_balance import WARMTH_MAX, Gains, WhiteBalance, balance_of_warmth

if TYPE_CHECKING:
    from stacker.engine.shot import Shot

# pixels from the spot to the edge of the square that is measured: 9 x 9
SPOT_REACH_PX = 4
# mean light of a channel in the spot below which noise and rounding would choose the colour;
# about code 6 of 255
DARKEST = 0.002
# light, of the greatest there can be, from which a pixel counts as burnt out
BURNT = 0.98
# beyond these, a gain is a slip of the pen
GAIN_MIN, GAIN_MAX = 1 / 64, 64.0


@dataclass(frozen=True, kw_only=True)
class BalanceChoice:
    """How the white balance of a result is chosen; at most one of the three.

    Parameters
    ----------
    warmth : mired from -100 to 100, above 0 for a warmer picture.
    gains : factors of red, green and blue light, 1/64 to 64; only their ratio matters.
    neutral : the pixel (x, y) of the picture that shall come out grey.

    Raises
    ------
    OptionError
        Two are given, or one makes no sense.
    """

    warmth: float | None = None
    gains: tuple[float, ...] | None = None
    neutral: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        given = [
            f"--{name}"
            for name in ("warmth", "gains", "neutral")
            if getattr(self, name) is not None
        ]
        if len(given) > 1:
            raise OptionError(
                " and ".join(given),
                "each of them sets the white balance",
                remedy="give one of them",
                code="option-balance",
            )
        if self.warmth is not None and not abs(self.warmth) <= WARMTH_MAX:
            raise _refusal(
                f"--warmth {self.warmth:g}",
                "lies beyond the colours of daylight",
                f"give a number from {-WARMTH_MAX:g} to {WARMTH_MAX:g}; 20 is a light warming",
            )
        if self.gains is not None and not (
            len(self.gains) == 3 and all(GAIN_MIN <= gain <= GAIN_MAX for gain in self.gains)
        ):
            raise _refusal(
                f"--gains {_listed(self.gains)}",
                "are no gains of three channels",
                "give three numbers from 1/64 to 64 for red, green and blue, such as 1.1,1,0.8",
            )
        if self.neutral is not None and not (
            len(self.neutral) == 2 and all(math.isfinite(value) for value in self.neutral)
        ):
            raise _refusal(
                f"--neutral {_listed(self.neutral)}", "is no pixel", "give X,Y such as 1200,800"
            )

    def check(self, size: tuple[int, int]) -> None:
        """Return if the spot, where there is one, lies in a picture of (width, height).

        Raises
        ------
        OptionError
            It lies outside.
        """
        if self.neutral is None:
            return
        x, y = _pixel(self.neutral)
        width, height = size
        if not (0 <= x < width and 0 <= y < height):
            raise _refusal(
                f"--neutral {_listed(self.neutral)}",
                f"lies outside the picture of {width} x {height} pixels",
                f"give X from 0 to {width - 1} and Y from 0 to {height - 1}",
            )

    def balance_for(self, shot: Shot) -> WhiteBalance | None:
        """Return the white balance, measured in the shot if by a spot; None if none was chosen.

        Raises
        ------
        OptionError
            The spot lies outside the picture, or is black or burnt out.
        """
        if self.neutral is not None:
            self.check(shot.size)
            return WhiteBalance(_measured(shot, self.neutral))
        return self.told_balance(shot.space)

    def told_balance(self, space: ColourSpace) -> WhiteBalance | None:
        """Return the white balance of light in a space, which no spot tells; None if none does."""
        if self.warmth is not None:
            return balance_of_warmth(self.warmth, space)
        if self.gains is not None:
            red, green, blue = self.gains
            return WhiteBalance((red, green, blue))
        return None


def _measured(shot: Shot, neutral: tuple[float, ...]) -> Gains:
    """Return the gains that make the mean light round a spot grey."""
    told = f"--neutral {_listed(neutral)}"
    square = _square(shot, *_pixel(neutral)).reshape(-1, 3)
    width, height = shot.size
    if square.max() >= BURNT * shot.brightest:
        raise _refusal(
            told,
            f"the picture of {width} x {height} pixels is burnt out there",
            "choose a grey spot that is not quite white",
        )
    mean = square.mean(axis=0, dtype=np.float64)
    if mean.min() < DARKEST:
        raise _refusal(
            told,
            f"the picture of {width} x {height} pixels is too dark there to have a colour",
            "choose a brighter grey spot",
        )
    red, green, blue = mean[1] / mean
    if max(red, blue) > GAIN_MAX or min(red, blue) < GAIN_MIN:
        raise _refusal(
            told,
            f"the picture of {width} x {height} pixels is far too colourful there to be grey",
            "choose a spot that was grey",
        )
    return float(red), float(green), float(blue)


def _square(shot: Shot, x: int, y: int) -> LightArray:
    """Return the light of the square round a pixel, as far as it lies in the picture."""
    left = max(0, x - SPOT_REACH_PX)
    first, last = max(0, y - SPOT_REACH_PX), min(shot.size[1] - 1, y + SPOT_REACH_PX)
    found = []
    top = 0
    for band in shot.bands():
        pixels = band.codes if isinstance(band, CodedLight) else band
        rows = slice(max(0, first - top), max(0, last + 1 - top))
        part = pixels[rows, left : x + SPOT_REACH_PX + 1]
        found.append(
            as_light(CodedLight(part, band.table) if isinstance(band, CodedLight) else part)
        )
        top += len(pixels)
        if top > last:
            break
    return np.concatenate(found)


def _pixel(spot: tuple[float, ...]) -> tuple[int, int]:
    """Return the pixel in which a spot lies: centres lie at whole numbers."""
    return math.floor(spot[0] + 0.5), math.floor(spot[1] + 0.5)


def _listed(values: tuple[float, ...]) -> str:
    return ",".join(f"{value:g}" for value in values)


def _refusal(where: str, why: str, remedy: str) -> OptionError:
    return OptionError(where, why, remedy=remedy, code="option-balance")
