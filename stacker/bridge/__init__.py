"""The light that fell between two frames, while the camera wrote or waited."""

from stacker.bridge.base import Bridge, Confidence, Exposed, GapVerdict, Joins, LightOf, Patch
from stacker.bridge.choose import choose_bridges

__all__ = [
    "Bridge",
    "Confidence",
    "Exposed",
    "GapVerdict",
    "Joins",
    "LightOf",
    "Patch",
    "choose_bridges",
]
