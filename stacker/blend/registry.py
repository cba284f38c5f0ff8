"""The blends by name: the one list that commands, errors and tests go by."""

from __future__ import annotations

import difflib

from stacker.blend.base import Blend
from stacker.blend.brightest import Max
from stacker.blend.extremes import Darken
from stacker.blend.light_sum import Mean, Sum
from stacker.blend.lighten import Lighten
from stacker.blend.lights import Lights
from stacker.blend.median import Median
from stacker.blend.poses import Poses
from stacker.blend.trimmed import Trimmed
from stacker.errors import OptionError

BLENDS: dict[str, Blend] = {
    blend.name: blend
    for blend in (Mean(), Lighten(), Lights(), Max(), Median(), Darken(), Sum(), Trimmed(), Poses())
}


def find_blend(name: str) -> Blend:
    """Return the blend of that name with its usual limits.

    Raises
    ------
    OptionError
        There is none; the sentence names those that exist, and the nearest.
    """
    if name in BLENDS:
        return BLENDS[name]
    near = difflib.get_close_matches(name.lower(), BLENDS, n=1, cutoff=0.6)
    guess = f"did you mean {near[0]}? There" if near else "there"
    raise OptionError(
        f"--blend {name}",
        "no such blend",
        remedy=f"{guess} are {', '.join(BLENDS)}",
        code="option-blend",
    )
