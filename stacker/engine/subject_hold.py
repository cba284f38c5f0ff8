"""Holding what a subject wants held, and what is done where that cannot be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from math import ceil

import numpy as np

from stacker.burst import Burst
from stacker.engine.copies import Copies
from stacker.engine.hold import hold
from stacker.engine.holding import Holding
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.errors import BurstError, OptionError
from stacker.light.luminance import luminance
from stacker.survey.followed import what_is_followed
from stacker.survey.movers import LONG_SIDE

# frames in which what the camera followed is looked for, spread over the burst
LOOKED_AT = 16
AS_USUAL = "frames are held as usual"


def hold_for_subject(
    burst: Burst,
    places: Sequence[int],
    settings: Settings,
    progress: Progress,
    check_memory: Callable[[], None],
) -> Holding:
    """Return how the frames are put upon each other; ``hold`` where the subject chose nothing.

    Nothing fails here that would not without the subject. Parameters and errors are those of
    ``hold``.
    """
    usual = replace(settings, hold=None, box=None)
    if not settings.is_chosen("hold") or settings.hold == "still":
        return hold(burst, places, settings, progress, check_memory)
    found: tuple[str, ...] = ()
    if settings.box is None and settings.hold is None:
        box = _followed(burst, places)
        if box is None:
            sentence = f"nothing that the camera followed was found; {AS_USUAL}"
            return _noting(
                hold(burst, places, usual, progress, check_memory),
                f"{sentence}: give the subject's place in the first frame, such as "
                "--box 1200,800,300,200",
            )
        settings = replace(settings, hold="subject", box=box)
        found = (f"the subject was taken to be in --box {','.join(f'{v:g}' for v in box)}",)
    try:
        holding = hold(burst, places, settings, progress, check_memory)
        return replace(_noting(holding, *found), instead=settings.hold, box=settings.box)
    except (BurstError, OptionError) as error:
        # a box or a reference that was given wrongly is no fault of the subject's
        own = error.code == "option-memory" or (found and error.code.startswith("box"))
        if isinstance(error, OptionError) and not own:
            raise
        holding = replace(hold(burst, places, usual, progress, check_memory), instead="scene")
        what = "the stars" if settings.hold == "sky" else "the subject"
        return _noting(holding, f"{what} could not be held: {error.why}; {AS_USUAL}")


def _noting(holding: Holding, *sentences: str) -> Holding:
    return replace(holding, warnings=(*sentences, *holding.warnings))


def _followed(burst: Burst, places: Sequence[int]) -> tuple[float, ...] | None:
    """Return the box, in full-size pixels, of what kept its place while the picture travelled."""
    if len(places) < 2:
        return None
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    sample = sorted({places[k * (len(places) - 1) // (LOOKED_AT - 1)] for k in range(LOOKED_AT)})
    copies = Copies(burst, sample, factor)
    weights = burst.encoding.space.luminance_weights
    roots = [np.sqrt(np.maximum(luminance(copies(place), weights), 0)) for place in sample]
    seen = [root for place, root in zip(sample, roots, strict=True) if place not in copies.bad]
    return what_is_followed(np.stack(seen), factor) if len(seen) > 1 else None
