"""Leaving in another colour space than that of the burst, and what does not fit into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.errors import OptionError
from stacker.light.convert import conversion, convert_light
from stacker.light.encoding import LightArray
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, REC2020, SRGB, ColourSpace, same_space

SPACES = {"srgb": SRGB, "display-p3": DISPLAY_P3, "adobe-rgb": ADOBE_RGB, "rec2020": REC2020}
# so far beyond black or white light is by the rounding of profiles, and less than half a step of
# 8 bits in any space here
UNSEEN = 2e-4
# shares below this are not told in more digits
LEAST_SHARE = 1e-4


def space_named(name: str) -> ColourSpace:
    """Return a colour space by its name in ``SPACES``.

    Raises
    ------
    OptionError
        ``option-space``: there is none of that name.
    """
    if name not in SPACES:
        raise OptionError(
            f"--space {name}",
            "no such colour space is known",
            remedy=f"there are {', '.join(SPACES)}",
            code="option-space",
        )
    return SPACES[name]


def leaving_space(own: ColourSpace, name: str | None) -> ColourSpace:
    """Return the space in which light leaves: its own where that is asked for, or nothing is.

    Raises
    ------
    OptionError
        As ``space_named``.
    """
    if name is None:
        return own
    wanted = space_named(name)
    return own if same_space(own, wanted) else wanted


@dataclass
class Outgoing:
    """Takes light from one space to another, piece by piece, and counts what falls outside.

    Parameters
    ----------
    source, target : the same for light that only has to be looked at.
    """

    source: ColourSpace
    target: ColourSpace
    pixels: int = 0
    outside: int = 0

    def __post_init__(self) -> None:
        self._matrix = conversion(self.source, self.target)

    def __call__(self, light: LightArray) -> LightArray:
        """Return a piece in the target's primaries, float32 (h, W, 3), not clipped.

        A pixel lies outside where a channel is below black, or is above white and none was
        before: what was brighter than white already is not the colour's doing.
        """
        if self.target is self.source:
            out = light
        else:
            out = np.empty(light.shape, np.float32)
            convert_light(np.ascontiguousarray(light), self._matrix, out=out)
        above = _any(out > 1.0 + UNSEEN) & ~_any(light > 1.0)
        self.outside += int(np.count_nonzero(above | _any(out < -UNSEEN)))
        self.pixels += light.shape[0] * light.shape[1]
        return out

    def warnings(self) -> list[str]:
        """Return a sentence if anything lay outside."""
        if not self.outside:
            return []
        share = self.outside / self.pixels
        words = f"{share:.2%}" if share < 0.001 else f"{share:.1%}"
        words = words if share >= LEAST_SHARE else f"Less than {LEAST_SHARE:.2%}"
        return [
            f"{words} of the picture lies outside {self.target.name} and was clipped; a wider "
            "--space or --depth 32 keeps it."
        ]


def _any(channels: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Whether one of the channels is true; by hand, several times as fast as a reduction."""
    found: npt.NDArray[np.bool_] = channels[..., 0] | channels[..., 1] | channels[..., 2]
    return found
