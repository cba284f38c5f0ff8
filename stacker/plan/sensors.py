"""Sensors by the names of the trade: size, usual pixel counts, typical noise. One table.

Sizes are those that makers print; pixel counts and noise are typical of cameras of the last ten
years, assumptions to be replaced by the figures of the camera at hand.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stacker.errors import OptionError

FULL_FRAME_WIDTH_MM = 36.0
FULL_FRAME_DIAGONAL_MM = math.hypot(FULL_FRAME_WIDTH_MM, 24.0)
# electrons that a square micrometre holds at ISO 100, typical of back-lit and front-lit sensors
FULL_WELL_PER_UM2 = 2300
# ISO of the columns below
NOISE_ISO = (100, 400, 1600, 6400)


@dataclass(frozen=True)
class Format:
    """One size of sensor.

    Parameters
    ----------
    name : as the trade says it.
    spellings : other ways to type it, without blanks and hyphens.
    width_mm, height_mm : of the light-sensitive area.
    pixels : columns and rows that are usual for it.
    read_noise_e : root mean square electrons at the values of ``NOISE_ISO``.
    """

    name: str
    spellings: tuple[str, ...]
    width_mm: float
    height_mm: float
    pixels: tuple[int, int]
    read_noise_e: tuple[float, float, float, float]


FORMATS = (
    Format("medium format 44 x 33", ("44x33", "mediumformat44x33", "mediumformat"), 43.8, 32.9,
           (8256, 6192), (3.2, 2.6, 1.8, 1.5)),
    Format("full frame", ("fullframe", "35mm", "36x24", "ff"), 36.0, 24.0,
           (6000, 4000), (3.5, 2.4, 1.6, 1.3)),
    Format("APS-C 1.5", ("apsc1.5", "apsc", "1.5"), 23.5, 15.6,
           (6000, 4000), (3.0, 2.2, 1.6, 1.4)),
    Format("APS-C 1.6", ("apsc1.6", "1.6"), 22.3, 14.9,
           (6000, 4000), (3.0, 2.2, 1.6, 1.4)),
    Format("four thirds", ("fourthirds", "4/3", "2.0"), 17.3, 13.0,
           (5184, 3888), (2.6, 2.0, 1.5, 1.3)),
    Format("one-inch", ("oneinch", "1inch", '1"', "1in"), 13.2, 8.8,
           (5472, 3648), (2.4, 1.8, 1.4, 1.2)),
    # 48 or 50 million photosites read four by four
    Format('phone 1/1.3"', ("phone1/1.3", "1/1.3", "phone", "smartphone"), 9.8, 7.4,
           (4080, 3072), (2.2, 1.7, 1.4, 1.3)),
)  # fmt: skip


@dataclass(frozen=True)
class Sensor:
    """What catches the light.

    Parameters
    ----------
    name : the format's, or its size.
    width_mm, height_mm : of the light-sensitive area.
    pixels : columns and rows of the picture.
    """

    name: str
    width_mm: float
    height_mm: float
    pixels: tuple[int, int]

    @property
    def pitch_um(self) -> float:
        """From the centre of one pixel to that of the next, in micrometres."""
        return 1000 * self.width_mm / self.pixels[0]

    @property
    def diagonal_mm(self) -> float:
        """From corner to corner."""
        return math.hypot(self.width_mm, self.height_mm)

    @property
    def crop_factor(self) -> float:
        """By how much a focal length is multiplied for the same view on full frame."""
        return FULL_FRAME_DIAGONAL_MM / self.diagonal_mm

    def full_well_e(self, iso: float) -> float:
        """Return the electrons per pixel that stand for white at this ISO."""
        return FULL_WELL_PER_UM2 * self.pitch_um**2 * 100 / iso


def find_format(text: str) -> Format:
    """Return the format of that name, or one of a size such as ``23.5x15.6`` in mm.

    Raises
    ------
    OptionError
        There is none; the sentence names those that exist.
    """
    typed = text.lower().replace("\N{MULTIPLICATION SIGN}", "x")
    typed = "".join(sign for sign in typed if sign not in " -_").rstrip('"')
    for known in FORMATS:
        names = (known.name.lower().replace(" ", "").replace("-", ""), *known.spellings)
        if typed in [name.rstrip('"') for name in names]:
            return known
    width, _, height = typed.removesuffix("mm").partition("x")
    try:
        sides = float(width), float(height)
    except ValueError:
        sides = (0.0, 0.0)
    if not all(math.isfinite(side) and 1 <= side <= 300 for side in sides):
        raise OptionError(
            f"--sensor {text}",
            "is no sensor known here",
            remedy=f"there are {', '.join(each.name for each in FORMATS)}; or give its size in "
            "mm, such as 23.5x15.6",
            code="option-choice",
        )
    # an unknown sensor has the noise of the known one nearest in size, and pixels as fine
    near = min(FORMATS, key=lambda each: abs(each.width_mm - sides[0]))
    columns = round(near.pixels[0] * sides[0] / near.width_mm)
    rows = max(1, round(columns * sides[1] / sides[0]))
    return Format(f"{sides[0]:g} x {sides[1]:g} mm", (), *sides, (columns, rows), near.read_noise_e)


def typical_read_noise_e(of: Format, iso: float) -> float:
    """Return the read noise in electrons at an ISO, between the table's columns by logarithm."""
    levels = [math.log2(value) for value in NOISE_ISO]
    at = min(max(math.log2(iso), levels[0]), levels[-1])
    upper = next(k for k in range(1, len(levels)) if at <= levels[k])
    share = (at - levels[upper - 1]) / (levels[upper] - levels[upper - 1])
    below, above = of.read_noise_e[upper - 1], of.read_noise_e[upper]
    return below + share * (above - below)
