"""A few shells of a firework: the frames of the others are left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Any

import numpy as np

from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.survey.movers import LONG_SIDE
from stacker.survey.shells import Shell, choose_shells, find_shells

# a show of that many frames is looked at within a quarter of a gigabyte
MOST_LOOKED_AT = 1000


@dataclass(frozen=True, eq=False)
class Kept:
    """The weights that are left, one per frame of the burst, and what is told."""

    weights: tuple[float, ...]
    found: Mapping[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()


def keep_bursts(
    burst: Burst, weights: Sequence[float], settings: Settings, progress: Progress
) -> Kept:
    """Return the weights of the frames without those of shells that are not kept."""
    places = [p for p, frame in enumerate(burst.frames) if weights[p] > 0 and not frame.problem]
    if settings.keep_bursts is None or len(places) < 2:
        return Kept(tuple(weights))
    if len(places) > MOST_LOOKED_AT:
        sentence = f"--keep-bursts looks at no more than {MOST_LOOKED_AT} frames: all are kept"
        return Kept(tuple(weights), {}, (sentence,))
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    with copies_of(
        burst, places, factor, worker_count(settings.workers), progress, in_light=True
    ) as copies:
        progress.start("looking for bursts", len(places))
        small = []
        for place in places:
            small.append(copies(place).max(axis=2))
            progress.advance()
    shells = find_shells(np.stack(small))
    wanted = None if settings.keep_bursts == "auto" else int(settings.keep_bursts)
    kept = choose_shells(shells, wanted)
    out = {
        places[k]
        for number, shell in enumerate(shells)
        if number not in kept
        for k in range(shell.first, shell.last + 1)
    }
    left = tuple(0.0 if place in out else weight for place, weight in enumerate(weights))
    found = [_told(burst, places, shell, n in kept) for n, shell in enumerate(shells)]
    peaks = ", ".join(burst.frames[places[shells[n].peak]].name for n in kept)
    sentence = f"{len(kept)} of {len(shells)} bursts are kept" + (f": {peaks}" if kept else "")
    return Kept(left, {"bursts": found}, (sentence,))


def _told(burst: Burst, places: Sequence[int], shell: Shell, kept: bool) -> dict[str, Any]:
    """Return what the report says of a shell."""
    return {
        "first": burst.frames[places[shell.first]].name,
        "peak": burst.frames[places[shell.peak]].name,
        "last": burst.frames[places[shell.last]].name,
        "brightness": round(shell.brightness, 5),
        "extent": round(shell.extent, 4),
        "kept": kept,
    }
