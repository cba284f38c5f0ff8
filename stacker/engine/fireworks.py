"""The bursts of a firework among frames in memory, for whoever lists them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np

from stacker.burst import Burst
from stacker.light.encoding import PixelArray, decode
from stacker.light.reduce import reduce_light
from stacker.survey.movers import LONG_SIDE
from stacker.survey.shells import find_shells


@dataclass(frozen=True)
class ShellSeen:
    """One burst: first and last frame by their place, brightness (0 to 1), share of the sky."""

    first: int
    last: int
    brightness: float
    extent: float


def shells_in(burst: Burst, frames: Sequence[PixelArray | None]) -> list[ShellSeen]:
    """Return the bursts among frames that lie still, in the order of their bursting.

    Parameters
    ----------
    frames : in the burst's encoding; None for those that cannot be had.
    """
    places = [place for place, frame in enumerate(frames) if frame is not None]
    if len(places) < 2:
        return []
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    small = [_brightest(burst, frame, factor) for frame in frames if frame is not None]
    return [
        ShellSeen(
            places[shell.first],
            places[shell.last],
            round(shell.brightness, 5),
            round(shell.extent, 4),
        )
        for shell in find_shells(np.stack(small))
    ]


def _brightest(burst: Burst, frame: PixelArray, factor: int) -> PixelArray:
    """Return the light of the brightest channel of a reduced copy, float32 (h, w)."""
    if factor == 1:
        return np.asarray(decode(frame, burst.encoding).max(axis=2))
    return np.asarray(reduce_light(frame, burst.encoding, factor).max(axis=2))
