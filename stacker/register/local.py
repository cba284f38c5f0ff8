"""A smooth local correction of a motion: a grid of small shifts, bilinear between its nodes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float64Array = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class LocalCorrection:
    """Shifts to add to a point after the motion, in pixels of the reference.

    Parameters
    ----------
    x, y : float64 (nx,), (ny,), ascending: where the nodes lie in the reference.
    dx, dy : float64 (ny, nx): the shift at each node; beyond the outer nodes theirs goes on.
    """

    x: Float64Array
    y: Float64Array
    dx: Float64Array
    dy: Float64Array

    def at(self, x: Float64Array, y: Float64Array) -> tuple[Float64Array, Float64Array]:
        """Return the shifts on a grid of columns ``x`` (W,) and rows ``y`` (H,), each (H, W)."""
        across, down = bilinear(self.x, x), bilinear(self.y, y)
        return down @ self.dx @ across.T, down @ self.dy @ across.T

    def at_points(self, points: Float64Array) -> Float64Array:
        """Return the shifts (N, 2) at points (N, 2) of the reference."""
        across, down = bilinear(self.x, points[:, 0]), bilinear(self.y, points[:, 1])
        dx = ((down @ self.dx) * across).sum(axis=1)
        dy = ((down @ self.dy) * across).sum(axis=1)
        return np.stack([dx, dy], axis=1)

    @property
    def reach_px(self) -> float:
        """The greatest shift in either direction."""
        return float(max(np.abs(self.dx).max(), np.abs(self.dy).max()))

    def to_full(self, factor: int) -> LocalCorrection:
        """Return for full-size pictures the correction found on copies reduced by ``factor``."""
        offset = (factor - 1) / 2
        return LocalCorrection(
            factor * self.x + offset, factor * self.y + offset, factor * self.dx, factor * self.dy
        )


def bilinear(nodes: Float64Array, places: Float64Array) -> Float64Array:
    """Return the share of each of n nodes in each of N places along a line, (N, n)."""
    inner = np.clip(places, nodes[0], nodes[-1])
    left = np.clip(np.searchsorted(nodes, inner, side="right") - 1, 0, len(nodes) - 2)
    share = (inner - nodes[left]) / (nodes[left + 1] - nodes[left])
    weights = np.zeros((len(places), len(nodes)))
    rows = np.arange(len(places))
    weights[rows, left] = 1 - share
    weights[rows, left + 1] = share
    return weights
