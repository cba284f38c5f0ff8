"""The bridge of a burst's sky: what is known of it, and the light for one gap after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from stacker.bridge.base import GapVerdict, Joins, Patch
from stacker.bridge.sky.known import KnownSky, blocks
from stacker.bridge.sky.paint import Laid, agreed, joined, laid_down, patches_of
from stacker.bridge.sky.strength import measured
from stacker.bridge.sky.ways import Turn
from stacker.light.encoding import LightArray
from stacker.register.sky.points import Float64Array


@dataclass(frozen=True, eq=False)
class SkyBridge:
    """Light of stars for the gaps of a burst; made by ``bridge_sky``.

    ``sky`` is None where there is no sky to be found, and then there is no light either.
    """

    joins: ClassVar[Joins] = "greater"

    sky: KnownSky | None
    gaps: Sequence[GapVerdict]

    def between(self, number: int, earlier: LightArray, later: LightArray) -> list[Patch]:
        """Return the light of the stars between the frames ``number`` and ``number + 1``."""
        turn = self.sky.turn(number) if self.sky and self.gaps[number].bridged else None
        if self.sky is None or turn is None:
            return []
        shape = earlier.shape[:2]
        laid = [
            each
            for stars in blocks(self.sky.in_sight(turn))
            if (each := self._laid(number, turn, self.sky.stars[stars], earlier, later))
        ]
        if not laid:
            return []
        return patches_of(joined(laid), shape)

    def carried(self, place: Float64Array, number: int, other: int) -> Float64Array | None:
        """Return where the sky's turn puts points of one frame in another.

        Parameters
        ----------
        place : (N, 2) px, where they are in the middle of the exposure of frame ``number``.
        other : the frame in the middle of whose exposure they are looked for.

        Returns
        -------
        float64 (N, 2) px, far outside for what lies behind the camera; None where the sky of one
        of the frames is not known.
        """
        if self.sky is None:
            return None
        start, stop = self.sky.turns[number], self.sky.turns[other]
        if start is None or stop is None:
            return None
        return self.sky.lens.project(self.sky.lens.rays(place) @ start @ stop.T)

    def _laid(
        self, number: int, turn: Turn, stars: Float64Array, earlier: LightArray, later: LightArray
    ) -> Laid | None:
        """Return the light of some stars."""
        assert self.sky is not None
        sky = self.sky
        before, after = sky.halves[number]
        one, _ = measured(
            earlier, sky.still, turn, -before, before, stars, sky.profiles, sky.weights
        )
        two, _ = measured(
            later, sky.still, turn, 1 - after, 1 + after, stars, sky.profiles, sky.weights
        )
        carried = agreed(stars, one, two)
        if carried is None:
            return None
        return laid_down(carried, turn, sky.still, sky.profiles, earlier.shape[:2])
