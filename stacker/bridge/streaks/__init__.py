"""Bridging lights that move on their own: cars, boats, planes, sparks, a lamp in a hand."""

from stacker.bridge.streaks.burst import SkyTurn, StreakBridge, bridge_streaks

__all__ = ["SkyTurn", "StreakBridge", "bridge_streaks"]
