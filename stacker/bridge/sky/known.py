"""What is known of the sky of a burst."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from stacker.bridge.sky.profile import Profiles
from stacker.bridge.sky.still import Still
from stacker.bridge.sky.ways import Turn
from stacker.register.sky.lens import Lens
from stacker.register.sky.points import Float64Array
from stacker.register.sky.stars import IntArray

# stars worked on at once: their pixels stay in the cache
BLOCK = 256


@dataclass(frozen=True, eq=False)
class KnownSky:
    """The sky of a burst.

    Parameters
    ----------
    lens : how the whole frames show directions.
    turns : from the reference's rays to those in the middle of each exposure; None where lost.
    steps : (3,) the turn over each gap, from the middle of one exposure to that of the next, None
        where it cannot be told.
    halves : half of the earlier and of the later exposure, as shares of that turn.
    stars : (S, 3) the reference's rays.
    """

    lens: Lens
    turns: Sequence[Float64Array | None]
    steps: Sequence[Float64Array | None]
    halves: Sequence[tuple[float, float]]
    stars: Float64Array
    still: Still
    profiles: Profiles
    weights: tuple[float, float, float]

    def turn(self, number: int) -> Turn | None:
        """Return how the sky turns over a gap."""
        start, step = self.turns[number], self.steps[number]
        return None if start is None or step is None else Turn(self.lens, start, step)

    def in_sight(self, turn: Turn) -> IntArray:
        """Return the numbers of the stars that both frames of a gap may show."""
        most = np.array(self.lens.size) - 1
        kept = np.ones(len(self.stars), bool)
        for moment in (0.0, 1.0):
            place = turn.place(self.stars, np.full(len(self.stars), moment))
            kept &= ((place >= 0) & (place <= most)).all(axis=1)
        return np.flatnonzero(kept)


def blocks(stars: IntArray) -> Iterator[IntArray]:
    """Give the numbers of stars in blocks to be worked on at once."""
    for first in range(0, len(stars), BLOCK):
        yield stars[first : first + BLOCK]
