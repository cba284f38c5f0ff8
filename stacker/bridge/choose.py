"""Which bridges a burst needs: by how its blend takes light, and by what is found in it."""

from __future__ import annotations

from collections.abc import Sequence

from stacker.bridge.base import Bridge, Exposed, Joins, LightOf
from stacker.bridge.flow import bridge_flow
from stacker.bridge.sky import bridge_sky


def choose_bridges(
    joins: Joins,
    frames: LightOf,
    exposed: Sequence[Exposed],
    weights: tuple[float, float, float],
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
    """
    if joins == "added":
        return {"textures in motion": bridge_flow(frames, exposed, weights=weights)}
    sky = bridge_sky(frames, exposed, weights=weights)
    return {"the turn of the stars": sky}
