"""What is told of a picture of poses: how visible each frame's are, and whom few frames puzzle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from stacker.burst import Burst
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings

POSES = "poses"
# of two frames that differ nobody knows which one shows the background
FEWEST_FRAMES = 3


def told_of_poses(
    burst: Burst, weights: Sequence[float], settings: Settings, progress: Progress
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what the report says of the poses, and a sentence for a person."""
    if POSES not in settings.blends:
        return {}, ()
    places = [place for place, weight in enumerate(weights) if weight > 0]
    found = {
        "over_each_other": "later over earlier",
        "visible": {burst.frames[place].name: weights[place] for place in places},
    }
    if len(places) >= FEWEST_FRAMES:
        return {POSES: found}, ()
    few = "one frame does" if len(places) == 1 else "two frames do"
    return {POSES: found}, (
        f"{few} not tell what is background and what is a pose: shoot three or more, each with the "
        "person in another place, or add one of the empty place",
    )
