"""What is told of water: how smooth it gets, and which shutter would make it silk."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil
from typing import Any

import numpy as np

from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.light.luminance import luminance
from stacker.survey.silk import SILK, Silk, find_silk

FEWEST_FRAMES = 4
# texture is finer than what is looked at for movement; so many frames of that fit into memory
LONG_SIDE, MOST_FRAMES = 960, 96


def told_of_water(
    burst: Burst, weights: Sequence[float], settings: Settings, progress: Progress
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what the report says of the water's texture, and a sentence for a person."""
    good = [p for p, frame in enumerate(burst.frames) if weights[p] > 0 and not frame.problem]
    if settings.subject is None or settings.subject.name != "water" or len(good) < FEWEST_FRAMES:
        return {}, ()
    # neighbours tell how fast it passes: the first ones of a long burst, not some of all
    places = good[:MOST_FRAMES]
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    channels = burst.encoding.space.luminance_weights
    with copies_of(
        burst, places, factor, worker_count(settings.workers), progress, in_light=True
    ) as copies:
        progress.start("looking at the water", len(places))
        small = []
        for place in places:
            small.append(luminance(np.ascontiguousarray(copies(place)), channels))
            progress.advance()
        readable = [k for k, place in enumerate(places) if place not in copies.bad]
    if len(readable) < FEWEST_FRAMES:
        return {}, ()
    silk = find_silk([small[k] for k in readable], factor)
    if silk is None:
        return {"texture": None}, ("no water was found that moves",)
    shutters = [burst.frames[places[k]].shutter_s for k in readable]
    known = [each for each in shutters if each is not None]
    shutter_s = float(np.median(known)) if len(known) == len(shutters) else None
    return _told(silk, len(readable), shutter_s)


def _told(
    silk: Silk, frames: int, shutter_s: float | None
) -> tuple[dict[str, Any], tuple[str, ...]]:
    silk_frames = ceil(silk.silk_frames)
    silk_s = None if shutter_s is None else silk_frames * shutter_s
    found = {
        "frames": frames,
        "contrast_left": round(silk.contrast_left, 4),
        "texture_px": round(silk.texture_px, 1),
        "lengths_passed": round(silk.lengths, 1),
        "silk_frames": silk_frames,
        "silk_open_s": None if silk_s is None else round(silk_s, 3),
    }
    open_time = "" if silk_s is None else f", open for {silk_s:.3g} s"
    when = f"{silk_frames} frame{'s' if silk_frames != 1 else ''}{open_time}"
    left = f"{max(silk.contrast_left, 0):.0%} of the water's contrast is left"
    passed = (
        f"some {silk.lengths:.0f} lengths of its texture ({silk.texture_px:.0f} px each) went by"
    )
    if silk.contrast_left < SILK:
        verdict = f"it reads as silk, from about {when} on"
    else:
        verdict = f"silk, under {SILK:.0%}, would take about {when} in all"
    return {"texture": found}, (f"{left} in {frames} frames: {passed}; {verdict}",)
