"""A part of the picture that is made in its own way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from stacker.errors import OptionError

# masks that the program finds by itself; any other name is that of a picture
NAMED_MASKS = ("sky", "ground", "moving", "still")


# of what is held: as without a word about it
USUAL = "usual"


@dataclass(frozen=True, kw_only=True)
class Region:
    """A part of the picture, and what is done differently there.

    Parameters
    ----------
    mask : ``sky``, ``ground``, ``moving`` or ``still``, which are found in the burst, or the name
        of a gray picture of the frames' size: white is the region, black is not, gray mixes.
    blend : the name of one blend.
    hold : as in ``Settings``, or ``usual`` for what the burst needs.
    first, last, without, shutter_s, floor, bridge : as in ``Settings``. What is None follows the
        settings of the whole picture.
    feather_px : width in pixels over which the region's edge is softened; if None, 2 for a
        picture of black and white alone, 0 for one with grays, and what suits a mask that is found.
    """

    mask: str
    blend: str | None = None
    hold: str | None = None
    first: int | None = None
    last: int | None = None
    without: tuple[int, ...] | None = None
    shutter_s: float | None = None
    floor: str | None = None
    bridge: bool | None = None
    feather_px: float | None = None

    def __post_init__(self) -> None:
        # the report is text; a Path, which opens like a name, becomes one
        object.__setattr__(self, "mask", str(self.mask))
        if self.without is not None:
            object.__setattr__(self, "without", tuple(self.without))
        if not self.mask.strip():
            raise OptionError(
                self.option,
                "names no mask",
                remedy="give the name of a gray picture, or sky, ground, moving or still",
                code="region-mask",
            )
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

    def said(self) -> dict[str, Any]:
        """Return what is done differently, by the names in ``Settings``; no blend, no feather."""
        apart = {"mask", "blend", "feather_px"}
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
                words.append(f"{name} {' '.join(map(str, value))}")
            else:
                words.append(f"{name} {value:g}" if isinstance(value, float) else f"{name} {value}")
        return f"{self.mask}={', '.join(words)}"


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
