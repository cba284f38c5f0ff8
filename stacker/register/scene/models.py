"""Motion models as linear spaces of the eight parameters of a small homography.

Coordinates are centred on the picture and divided by half its diagonal. There a motion near the
identity is ``[[1 + p0, p1, p2], [p3, 1 + p4, p5], [p6, p7, 1]]``; a shift has only p2 and p5, a
similarity p0 = p4 and p1 = -p3 besides.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, Points, grid_of, normalise

Float64Array = npt.NDArray[np.float64]

# A hand turns by degrees between frames, and the perspective terms come from that alone: a prior
# of this deviation keeps a few tiles in a corner from bending the rest of the picture.
PRIOR = np.array([0.05, 0.05, 1.0, 0.05, 0.05, 1.0, 0.02, 0.02])


@dataclass(frozen=True, eq=False)
class Model:
    """A motion model: its name, and (8, n) the parameters that each of its n freedoms moves."""

    name: str
    basis: Float64Array

    @property
    def freedoms(self) -> int:
        """How many numbers a motion of this model takes."""
        return int(self.basis.shape[1])

    def solve(self, information: Float64Array, wish: Float64Array) -> Float64Array:
        """Return the eight parameters, within the model, that satisfy normal equations best."""
        reduced = self.basis.T @ (information + np.diag(PRIOR**-2.0)) @ self.basis
        return np.asarray(self.basis @ np.linalg.solve(reduced, self.basis.T @ wish))

    def nearest(self, parameters: Float64Array, information: Float64Array) -> Float64Array:
        """Return the parameters within the model that lie nearest in the metric given."""
        return self.solve(information, information @ parameters)


def _columns(*columns: dict[int, float]) -> Float64Array:
    basis = np.zeros((8, len(columns)))
    for number, column in enumerate(columns):
        for row, value in column.items():
            basis[row, number] = value
    return basis


SHIFT = Model("shift", _columns({2: 1}, {5: 1}))
SIMILARITY = Model("similarity", _columns({2: 1}, {5: 1}, {0: 1, 4: 1}, {1: -1, 3: 1}))
HOMOGRAPHY = Model("homography", np.eye(8))
MODELS = (SHIFT, SIMILARITY, HOMOGRAPHY)


@dataclass(frozen=True)
class Frame:
    """The coordinates of a picture of ``size`` (width, height) in which models are linear."""

    size: tuple[int, int]

    @cached_property
    def _to_unit(self) -> Motion:
        width, height = self.size
        radius = np.hypot(width, height) / 2
        x, y = (width - 1) / 2, (height - 1) / 2
        return np.asarray(np.array([[1, 0, -x], [0, 1, -y], [0, 0, radius]]) / radius)

    def motion_of(self, parameters: Float64Array) -> Motion:
        """Return the motion in pixels, (3, 3), of eight parameters."""
        small = np.append(parameters, 0.0).reshape(3, 3) + np.eye(3)
        return normalise(np.linalg.inv(self._to_unit) @ small @ self._to_unit)

    def parameters_of(self, motion: Motion) -> Float64Array:
        """Return the eight parameters of a motion in pixels."""
        small = normalise(self._to_unit @ motion @ np.linalg.inv(self._to_unit))
        return np.asarray((small - np.eye(3)).ravel()[:8])

    def jacobian(self, points: Points) -> Float64Array:
        """Return how far points (N, 2) move, in pixels, per unit of each parameter, (N, 2, 8)."""
        places = points @ self._to_unit[:2, :2].T + self._to_unit[:2, 2]
        u, v = places.T
        zero, one = np.zeros_like(u), np.ones_like(u)
        across = np.stack([u, v, one, zero, zero, zero, -u * u, -u * v], axis=1)
        down = np.stack([zero, zero, zero, u, v, one, -u * v, -v * v], axis=1)
        return np.asarray(np.stack([across, down], axis=1) / self._to_unit[0, 0])

    @cached_property
    def _spread(self) -> Float64Array:
        """Mean over the picture of J^T J, so that p^T S p is the mean squared shift."""
        jacobian = self.jacobian(grid_of(self.size))
        return np.asarray(np.einsum("nip,niq->pq", jacobian, jacobian) / len(jacobian))

    def rms(self, parameters: Float64Array) -> float:
        """Return the root mean squared shift over the picture that parameters mean, px."""
        square = float(parameters @ self._spread @ parameters)
        return float(np.sqrt(max(0.0, square)))

    def rms_error(self, information: Float64Array) -> float:
        """Return the root mean squared error over the picture that an information implies, px."""
        covariance = np.linalg.inv(information + np.diag(PRIOR**-2.0))
        return float(np.sqrt(np.trace(self._spread @ covariance)))

    def covariance_of(self, rms_px: float) -> Float64Array:
        """Return the covariance of parameters whose shifts are ``rms_px`` in the mean, (8, 8)."""
        return np.asarray(np.linalg.inv(self._spread) * rms_px**2 / 8)
