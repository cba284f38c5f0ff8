"""What is told of a dusk: when sky and lamps balance, by the clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.light.luminance import luminance
from stacker.survey.dusk import Fade, find_balance
from stacker.survey.movers import chosen_frames

FEWEST_FRAMES = 3
# A lit window has to stay a window in the copies, or it is taken for a dimmer, larger one: with
# 320 pixels a side the balance of a town came out two minutes early. So many frames are enough.
LONG_SIDE, MOST_FRAMES = 1280, 32


@dataclass(frozen=True, eq=False)
class DuskLook:
    """Small copies of frames of a dusk: luminance, float32 (N, h, w), and when each opened."""

    frames: npt.NDArray[np.float32]
    starts_s: npt.NDArray[np.float64]


def look_at_dusk(
    burst: Burst, good: Sequence[int], settings: Settings, progress: Progress
) -> DuskLook | None:
    """Return copies of frames spread over the good ones; None of fewer than three."""
    if len(good) < FEWEST_FRAMES:
        return None
    places = chosen_frames(good, MOST_FRAMES)
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    channels = burst.encoding.space.luminance_weights
    with copies_of(
        burst, places, factor, worker_count(settings.workers), progress, in_light=True
    ) as copies:
        progress.start("looking at sky and lamps", len(places))
        small = []
        for place in places:
            small.append(luminance(np.ascontiguousarray(copies(place)), channels))
            progress.advance()
        readable = [k for k, place in enumerate(places) if place not in copies.bad]
    if len(readable) < FEWEST_FRAMES:
        return None
    starts_s = np.array([burst.frames[places[k]].start_s for k in readable])
    return DuskLook(np.stack([small[k] for k in readable]), starts_s)


def told_of_dusk(
    burst: Burst, weights: Sequence[float], settings: Settings, progress: Progress
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what the report says of the balance of sky and lamps, and a sentence for a person."""
    if settings.subject is None or settings.subject.name != "dusk":
        return {}, ()
    if (settings.first, settings.last, settings.shutter_s) != (None, None, None):
        # the moment was chosen already
        return {}, ()
    good = [p for p, frame in enumerate(burst.frames) if weights[p] > 0 and not frame.problem]
    look = look_at_dusk(burst, good, settings, progress)
    if look is None:
        return {}, ()
    balance = find_balance(look.frames, look.starts_s)
    if balance.moment_s is None or balance.fade is None:
        return {"balance": {"at_s": None, "why": balance.why}}, (
            f"the balance of sky and lamps cannot be told: {balance.why}",
        )
    return _told(burst, good, balance.fade, balance.moment_s)


def _told(
    burst: Burst, good: Sequence[int], fade: Fade, moment_s: float
) -> tuple[dict[str, Any], tuple[str, ...]]:
    frame = burst.frames[nearest_frame(burst, good, moment_s)]
    clock = clock_of(burst, moment_s)
    within = frames_near(burst, good, moment_s, fade.near(moment_s))
    first, last = within[0] + 1, within[-1] + 1
    found = {
        "at_s": round(moment_s, 1),
        "clock": clock,
        "frame": frame.name,
        "first": first,
        "last": last,
        "sky_stops_per_min": round(fade.stops_per_min, 3),
        "residual_stops": round(fade.residual_stops, 4),
    }
    when = f"at {clock}, about {frame.name}" if clock else f"about {frame.name}"
    sentence = (
        f"sky and lamps balance {when}: --moment auto makes that moment, as do "
        f"--first {first} --last {last}"
    )
    return {"balance": found}, (sentence,)


def nearest_frame(burst: Burst, places: Sequence[int], moment_s: float) -> int:
    """Return the place of the frame that opened nearest to a moment."""
    return min(places, key=lambda place: abs(burst.frames[place].start_s - moment_s))


def frames_near(
    burst: Burst, places: Sequence[int], moment_s: float, near_s: tuple[float, float]
) -> list[int]:
    """Return the places of the frames that opened within a time, of the nearest if none did."""
    begin_s, end_s = near_s
    within = [place for place in places if begin_s <= burst.frames[place].start_s <= end_s]
    return within or [nearest_frame(burst, places, moment_s)]


def time_of(burst: Burst, moment_s: float) -> datetime | None:
    """Return what the camera's clock showed at a moment; None where no frame tells."""
    known = [place for place, frame in enumerate(burst.frames) if frame.taken is not None]
    if not known:
        return None
    frame = burst.frames[nearest_frame(burst, known, moment_s)]
    return frame.taken + timedelta(seconds=moment_s - frame.start_s) if frame.taken else None


def clock_of(burst: Burst, moment_s: float) -> str | None:
    """Return the same in hours, minutes and seconds."""
    moment = time_of(burst, moment_s)
    return moment.strftime("%H:%M:%S") if moment is not None else None
