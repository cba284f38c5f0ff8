"""The part of the picture whose light is evened by itself: the sky or the ground."""

from __future__ import annotations

from dataclasses import replace

from stacker.blend.mixing import MaskArray, feathered
from stacker.burst import Burst
from stacker.engine.found_masks import find_masks
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings

# over how many pixels the evened light passes into the other, besides those of a copy
FEATHER_PX = 2.0


def part_to_even(
    burst: Burst, settings: Settings, progress: Progress
) -> tuple[MaskArray | None, tuple[str, ...]]:
    """Return the mask of the part that is to be evened, uint16 (H, W), and sentences about it.

    None, with the reason, where it is not sure: the whole picture is then evened.
    """
    name = settings.even
    # frames lie as they were shot here: one that cannot be read is told by the pass that blends
    found = find_masks(burst, (name,), replace(settings, on_bad="skip"), progress)
    why = "the camera moved" if found.motions else found.why.get(name)
    if why is not None:
        return None, (
            f"the {name} is not evened by itself, as it was not found with certainty: {why}; "
            "the whole picture is looked at, as by --even auto",
        )
    return feathered(found.masks[name], FEATHER_PX + found.factor), ()
