"""The light of stars in the gaps between frames, carried along the turn of the sky."""

from stacker.bridge.sky.bridge import SkyBridge
from stacker.bridge.sky.burst import bridge_sky

__all__ = ["SkyBridge", "bridge_sky"]
