"""What is told of a dusk: when sky and lamps balance, by the clock."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from math import ceil
from typing import Any

import numpy as np

from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.light.luminance import luminance
from stacker.survey.dusk import Balance, find_balance
from stacker.survey.movers import chosen_frames

FEWEST_FRAMES = 3
# A lit window has to stay a window in the copies, or it is taken for a dimmer, larger one: with
# 320 pixels a side the balance of a town came out two minutes early. So many frames are enough.
LONG_SIDE, MOST_FRAMES = 1280, 32


def told_of_dusk(
    burst: Burst, weights: Sequence[float], settings: Settings, progress: Progress
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what the report says of the balance of sky and lamps, and a sentence for a person."""
    good = [p for p, frame in enumerate(burst.frames) if weights[p] > 0 and not frame.problem]
    if settings.subject is None or settings.subject.name != "dusk" or len(good) < FEWEST_FRAMES:
        return {}, ()
    if (settings.first, settings.last, settings.shutter_s) != (None, None, None):
        # the moment was chosen already
        return {}, ()
    places = chosen_frames(good, MOST_FRAMES)
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    channels = burst.encoding.space.luminance_weights
    with copies_of(burst, places, factor, worker_count(settings.workers), progress) as copies:
        progress.start("looking at sky and lamps", len(places))
        small = []
        for place in places:
            small.append(luminance(np.ascontiguousarray(copies(place)), channels))
            progress.advance()
        readable = [k for k, place in enumerate(places) if place not in copies.bad]
    if len(readable) < FEWEST_FRAMES:
        return {}, ()
    places = [places[k] for k in readable]
    starts_s = np.array([burst.frames[place].start_s for place in places])
    balance = find_balance(np.stack([small[k] for k in readable]), starts_s)
    if balance.moment_s is None:
        return {"balance": {"at_s": None, "why": balance.why}}, (
            f"the balance of sky and lamps cannot be told: {balance.why}",
        )
    return _told(burst, places, balance, balance.moment_s)


def _told(
    burst: Burst, places: Sequence[int], balance: Balance, moment_s: float
) -> tuple[dict[str, Any], tuple[str, ...]]:
    nearest = min(places, key=lambda place: abs(burst.frames[place].start_s - moment_s))
    frame = burst.frames[nearest]
    clock = None
    if frame.taken is not None:
        moment = frame.taken + timedelta(seconds=moment_s - frame.start_s)
        clock = moment.replace(microsecond=0).strftime("%H:%M:%S")
    first, last = places[balance.first] + 1, places[balance.last] + 1
    found = {
        "at_s": round(moment_s, 1),
        "clock": clock,
        "frame": frame.name,
        "first": first,
        "last": last,
        "sky_stops_per_min": round(balance.stops_per_min, 3),
        "residual_stops": round(balance.residual_stops, 4),
    }
    when = f"at {clock}, about {frame.name}" if clock else f"about {frame.name}"
    sentence = f"sky and lamps balance {when}: --first {first} --last {last} makes that moment"
    return {"balance": found}, (sentence,)
