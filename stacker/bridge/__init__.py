"""The light that fell between two frames, while the camera wrote or waited."""

from stacker.bridge.base import Bridge, Exposed, GapVerdict, LightOf, Patch

__all__ = ["Bridge", "Exposed", "GapVerdict", "LightOf", "Patch"]
