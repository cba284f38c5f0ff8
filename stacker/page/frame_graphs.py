"""What is drawn under the axis of time: how bright each frame is, and how far it was shaken."""

from __future__ import annotations

import math
from collections.abc import Sequence

from stacker.burst import Burst
from stacker.engine.frame_figures import frame_light, moved_px
from stacker.engine.holding import Holding
from stacker.light.encoding import PixelArray


def light_stops(burst: Burst, frames: Sequence[PixelArray | None]) -> list[float | None]:
    """Return how much brighter each frame is than the burst's median, in stops; None unread."""
    means = [None if frame is None else frame_light(burst, frame) for frame in frames]
    known = sorted(mean for mean in means if mean)
    if not known:
        return [None] * len(means)
    middle = known[len(known) // 2]
    return [round(math.log2(mean / middle), 3) if mean else None for mean in means]


def shake_px(
    holding: Holding, places: Sequence[int], count: int, factor: int
) -> list[float | None]:
    """Return how far the middle of each frame lies from the reference's, in full-size pixels.

    Of all frames of the burst; None for those that are not among ``places``.
    """
    found: list[float | None] = [None] * count
    for place in places:
        found[place] = moved_px(holding, place, factor)
    return found
