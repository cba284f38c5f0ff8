"""Which bridges a burst needs."""

from __future__ import annotations

from collections.abc import Sequence

from stacker.bridge.base import Bridge, Exposed, Joins, LightOf


def choose_bridges(joins: Joins, frames: LightOf, exposed: Sequence[Exposed]) -> dict[str, Bridge]:
    """Return the bridges for a burst, by what they bridge, in words.

    Parameters
    ----------
    joins : how the blend takes light: the greater stays, or light is added.
    frames : gives the light of each frame.
    exposed : when each was exposed.
    """
    return {}
