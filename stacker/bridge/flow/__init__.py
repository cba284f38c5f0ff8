"""Bridging textures in motion: light carried along a dense flow from frame to frame."""

from stacker.bridge.flow.bridge import FlowBridge, bridge_flow

__all__ = ["FlowBridge", "bridge_flow"]
