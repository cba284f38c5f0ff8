"""Bridging lights that move on their own: cars, boats, planes, sparks, a lamp in a hand."""

from stacker.bridge.streaks.burst import StreakBridge, bridge_streaks
from stacker.bridge.streaks.spared import SkyTurn

__all__ = ["SkyTurn", "StreakBridge", "bridge_streaks"]
