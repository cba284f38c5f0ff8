"""A part of the picture that is made in its own way."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import time
from typing import Any

from stacker.engine.balance import BalanceChoice
from stacker.errors import OptionError

# masks that the program finds by itself; any other name is that of a picture
NAMED_MASKS = ("sky", "ground", "moving", "still")


# of what is held: as without a word about it
USUAL = "usual"
# of moments: that at which sky and lamps balance
AUTO = "auto"
CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(?::([0-5]\d))?")
# settings that choose the frames of a span
SPANNING = ("first", "last", "shutter_s")


@dataclass(frozen=True, kw_only=True)
class Region:
    """A part of the picture, and what is done differently there.

    Parameters
    ----------
    mask : ``sky``, ``ground``, ``moving`` or ``still``, which are found in the burst, or the name
        of a gray picture of the frames' size: white is the region, black is not, gray mixes.
    blend : the name of one blend.
    hold : as in ``Settings``, or ``usual`` for what the burst needs.
    moment, first, last, without, shutter_s, floor, bridge : as in ``Settings``. What is None
        follows the settings of the whole picture.
    warmth, gains : white balance of the region's light before it is mixed, one of them: mired from
        -100 to 100, or factors of red, green and blue; as the light is if None.
    feather_px : width in pixels over which the region's edge is softened; if None, 2 for a
        picture of black and white alone, 0 for one with grays, and what suits a mask that is found.
    """

    mask: str
    blend: str | None = None
    hold: str | None = None
    moment: str | None = None
    first: int | None = None
    last: int | None = None
    without: tuple[int, ...] | None = None
    shutter_s: float | None = None
    floor: str | None = None
    bridge: bool | None = None
    warmth: float | None = None
    gains: tuple[float, ...] | None = None
    feather_px: float | None = None

    def __post_init__(self) -> None:
        # the report is text; a Path, which opens like a name, becomes one
        object.__setattr__(self, "mask", str(self.mask))
        if self.without is not None:
            object.__setattr__(self, "without", tuple(self.without))
        if self.gains is not None:
            object.__setattr__(self, "gains", tuple(self.gains))
        if not self.mask.strip():
            raise OptionError(
                self.option,
                "names no mask",
                remedy="give the name of a gray picture, or sky, ground, moving or still",
                code="region-mask",
            )
        try:
            assert self.balance
        except OptionError as error:
            raise OptionError(
                f"{self.option}: {error.where}", error.why, remedy=error.remedy, code=error.code
            ) from error
        if self.feather_px is not None and not 0 <= self.feather_px < math.inf:
            raise OptionError(
                self.option,
                f"a feather of {self.feather_px:g} pixels makes no sense",
                remedy="give 0 or more pixels",
                code="option-value",
            )

    @property
    def option(self) -> str:
        """What was typed, as errors name it."""
        return f"--region {self.mask}"

    @property
    def is_found(self) -> bool:
        """Whether the mask is looked for in the burst."""
        return self.mask in NAMED_MASKS

    @property
    def balance(self) -> BalanceChoice:
        """The choice of its white balance."""
        return BalanceChoice(warmth=self.warmth, gains=self.gains)

    @property
    def has_span(self) -> bool:
        """Whether it has a span of frames of its own."""
        return any(getattr(self, name) is not None for name in SPANNING)

    def said(self) -> dict[str, Any]:
        """Return what is done differently, by the names in ``Settings``.

        That is but for the blend, and for what becomes of the light afterwards.
        """
        apart = {"mask", "blend", "feather_px", "warmth", "gains"}
        return {k: v for k, v in asdict(self).items() if k not in apart and v is not None}

    def told(self) -> str:
        """Return the region as it is typed after ``--region``."""
        words = []
        for each in fields(self)[1:]:
            value = getattr(self, each.name)
            if value is None:
                continue
            name = each.name.removesuffix("_s").removesuffix("_px")
            if isinstance(value, bool):
                words.append(name if value else f"no-{name}")
            elif isinstance(value, tuple):
                words.append(f"{name} {' '.join(f'{each:.12g}' for each in value)}")
            else:
                words.append(f"{name} {value:g}" if isinstance(value, float) else f"{name} {value}")
        return f"{self.mask}={', '.join(words)}"


def check_moment(option: str, moment: str | None, has_span: bool) -> None:
    """Refuse a moment that is none, or one beside a span of frames.

    Raises
    ------
    OptionError
        It is neither ``auto`` nor a time such as 21:21, or the span is given twice.
    """
    if moment is None:
        return
    if moment != AUTO and CLOCK.fullmatch(moment) is None:
        raise OptionError(
            f"{option} {moment}",
            "is no time of the day",
            remedy="give one by the frames' own clock, such as 21:21 or 21:21:30, or auto",
            code="option-value",
        )
    if has_span:
        raise OptionError(
            option,
            "the span is given twice",
            remedy="leave out --first, --last and --shutter, or --moment",
            code="option-span",
        )


def clock_time(moment: str) -> time:
    """Return the time of the day that a moment names, such as 21:21 or 21:21:30."""
    match = CLOCK.fullmatch(moment)
    assert match is not None
    return time(int(match[1]), int(match[2]), int(match[3] or 0))


def region_of(given: object) -> Region:
    """Return a region from one, or from its fields by name, as a report holds them.

    Raises
    ------
    OptionError
        It is neither, or there is no such field.
    """
    if isinstance(given, Region):
        return given
    known = {each.name for each in fields(Region)}
    if not isinstance(given, Mapping) or not {"mask"} <= set(given) <= known:
        raise OptionError(
            "--region",
            f"{given!r} is no region",
            remedy='give Region(mask="sky.png", blend="mean"), or its fields by name',
            code="option-region",
        )
    return Region(**given)
