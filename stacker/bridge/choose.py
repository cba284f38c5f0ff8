"""Which bridges a burst needs: by how its blend takes light, and by what is found in it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Bridge, Exposed, Joins, LightOf
from stacker.bridge.flow import bridge_flow
from stacker.bridge.sky import SkyBridge, bridge_sky
from stacker.bridge.streaks import SkyTurn, bridge_streaks

Float64Array = npt.NDArray[np.float64]


def choose_bridges(
    joins: Joins,
    frames: LightOf,
    exposed: Sequence[Exposed],
    weights: tuple[float, float, float],
    counts: Sequence[float],
    workers: int = 1,
    sky: SkyBridge | None = None,
) -> dict[str, Bridge]:
    """Return the bridges to be tried on a burst, by what they carry, in words.

    Where the greatest light stays, stars and other lights leave trails, each of their own law;
    what is not the sky's is looked at for lamps. Where light is added up, textures flow.

    Parameters
    ----------
    joins : how the blend takes light: the greater stays, or light is added.
    frames : gives the light of each frame.
    exposed : when each was exposed.
    weights : the share of each channel in the luminance.
    counts : what each frame counts where light is added up.
    workers : threads that may look at frames at once; the bridges are the same for any number.
    sky : the bridge of the stars where the burst was looked at for it before.
    """
    if joins == "added":
        return {"textures in motion": bridge_flow(frames, exposed, weights=weights, counts=counts)}
    sky = sky or bridge_sky(frames, exposed, weights=weights, workers=workers)
    turn = _turn(sky) if any(gap.bridged for gap in sky.gaps) else None
    return {
        "the turn of the stars": sky,
        "lights that move": bridge_streaks(frames, exposed, turn),
    }


def _turn(sky: SkyBridge) -> SkyTurn:
    """Return where the sky's turn takes points of one frame in another."""

    def carried(number: int, other: int, points: Float64Array) -> Float64Array:
        there = sky.carried(points, number, other)
        # what is not known is nowhere: no streak follows it
        return np.full_like(points, np.nan) if there is None else there

    return carried
