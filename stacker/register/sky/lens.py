"""From pixels to directions and back, through a lens that may bend straight lines.

A place in the picture is first straightened along its radius, then seen through a pinhole:
``u = (x - c) (1 + k1 p^2 + k2 p^4 + k3 p^6)`` with ``p`` the radius in half diagonals, and the
direction is ``(u, f)``. Straightening is the closed form because stars are measured, not drawn.

Source: D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stacker.register.sky.points import Float64Array

# beyond this many half diagonals the polynomial is no longer trusted and goes on unchanged
TRUSTED_RADIUS = 1.1
NEWTON_STEPS = 25
# a step, in half diagonals, by which the slope of bending is taken; and the least slope that is
# believed: no lens turns the picture inside out
SLOPE_STEP, LEAST_SLOPE = 1e-4, 0.1
# the least that a direction of unit length must point forward
LEAST_AHEAD = 1e-3
# How far lenses stray from what is expected of them (standard deviations): keeps unknowns that a
# burst says nothing about where they are. A focal length that is told may be 7 % wrong; one that
# is not, anything (in logarithms). Then radial terms, and the axis in half diagonals.
TOLD_FOCAL, UNTOLD_FOCAL = 0.07, 1.0
RADIAL_SPREAD, AXIS_SPREAD = (0.1, 0.05, 0.05), (0.01, 0.01)


@dataclass(frozen=True, eq=False)
class Lens:
    """How a picture of ``size`` (width, height) shows directions.

    ``focal_px`` the focal length; ``radial`` k1, k2, k3; ``off_px`` where the axis meets the
    picture, measured from its middle.
    """

    size: tuple[int, int]
    focal_px: float
    radial: tuple[float, float, float] = (0.0, 0.0, 0.0)
    off_px: tuple[float, float] = (0.0, 0.0)

    @property
    def is_pinhole(self) -> bool:
        """Whether straight lines stay straight."""
        return not any(self.radial)

    @property
    def centre(self) -> Float64Array:
        """Where the axis meets the picture, px (2,)."""
        return np.asarray((np.array(self.size) - 1) / 2 + np.array(self.off_px))

    @property
    def half_diagonal(self) -> float:
        """The radius that counts as 1, px."""
        return float(np.hypot(*self.size)) / 2

    @property
    def matrix(self) -> Float64Array:
        """The pinhole's matrix K, (3, 3), which takes rays to straightened pixels."""
        (x, y), f = self.centre, self.focal_px
        return np.array([[f, 0, x], [0, f, y], [0, 0, 1.0]])

    @property
    def unknowns(self) -> Float64Array:
        """Log of the focal length, k1, k2, k3, and the axis in half diagonals, (6,)."""
        off = np.array(self.off_px) / self.half_diagonal
        return np.array([np.log(self.focal_px), *self.radial, *off])

    def with_unknowns(self, values: Float64Array) -> Lens:
        """Return the lens that ``unknowns`` describes."""
        off = values[4:6] * self.half_diagonal
        return replace(
            self,
            focal_px=float(np.exp(values[0])),
            radial=(float(values[1]), float(values[2]), float(values[3])),
            off_px=(float(off[0]), float(off[1])),
        )

    def straightened(self, place: Float64Array) -> Float64Array:
        """Return pixels (N, 2) as a pinhole would show them, from the axis on."""
        flat = place - self.centre
        return np.asarray(flat * self._scale(np.linalg.norm(flat, axis=1))[:, None])

    def bending(self, place: Float64Array) -> Float64Array:
        """Return what takes small steps of ``straightened`` back to the picture, (N, 2, 2).

        Errors are errors of the picture: in straightened pixels, a lens that shrinks the corners
        would seem to explain them.
        """
        flat = place - self.centre
        radius = np.linalg.norm(flat, axis=1)
        step = SLOPE_STEP * self.half_diagonal
        across = self._scale(radius)
        along = ((radius + step) * self._scale(radius + step) - radius * across) / step
        unit = flat / np.maximum(radius, 1e-9)[:, None]
        outer = unit[:, :, None] * unit[:, None, :]
        along, across = np.maximum(along, LEAST_SLOPE), np.maximum(across, LEAST_SLOPE)
        both = (1 / along - 1 / across)[:, None, None] * outer
        return np.asarray(both + (1 / across)[:, None, None] * np.eye(2))

    def pinhole(self, ray: Float64Array) -> Float64Array:
        """Return where a pinhole would show directions (N, 3), from the axis on, px (N, 2).

        Those behind the camera come out far away.
        """
        return np.asarray(self.focal_px * ray[:, :2] / np.maximum(ray[:, 2:], LEAST_AHEAD))

    def pinhole_slopes(self, ray: Float64Array) -> Float64Array:
        """Return how ``pinhole`` changes with the directions, (N, 2, 3)."""
        z = np.maximum(ray[:, 2], LEAST_AHEAD)
        slopes = np.zeros((len(ray), 2, 3))
        slopes[:, 0, 0] = slopes[:, 1, 1] = self.focal_px / z
        slopes[:, :, 2] = -self.focal_px * ray[:, :2] / (z**2)[:, None]
        return slopes

    def bent(self, flat: Float64Array) -> Float64Array:
        """Return the pixels (N, 2) that ``straightened`` takes to ``flat``, by Newton's method."""
        if self.is_pinhole:
            return np.asarray(flat + self.centre)
        target = np.linalg.norm(flat, axis=1)
        radius = target.copy()
        step = SLOPE_STEP * self.half_diagonal
        for _ in range(NEWTON_STEPS):
            value = radius * self._scale(radius)
            slope = ((radius + step) * self._scale(radius + step) - value) / step
            radius = np.maximum(radius - (value - target) / np.maximum(slope, LEAST_SLOPE), 0)
        scale = np.divide(radius, target, out=np.ones_like(target), where=target > 0)
        return np.asarray(flat * scale[:, None] + self.centre)

    def _scale(self, radius_px: Float64Array) -> Float64Array:
        p = np.minimum(radius_px / self.half_diagonal, TRUSTED_RADIUS) ** 2
        k1, k2, k3 = self.radial
        return np.asarray(1 + p * (k1 + p * (k2 + p * k3)))

    def rays(self, place: Float64Array) -> Float64Array:
        """Return the directions (N, 3) of unit length that pixels (N, 2) show; z is forward."""
        flat = self.straightened(place)
        ray = np.column_stack([flat, np.full(len(flat), self.focal_px)])
        return np.asarray(ray / np.linalg.norm(ray, axis=1, keepdims=True))

    def project(self, ray: Float64Array) -> Float64Array:
        """Return the pixels (N, 2) that show directions (N, 3); far outside for those behind."""
        return self.bent(self.pinhole(ray))


@dataclass(frozen=True, eq=False)
class LensPrior:
    """What is known of a lens beforehand: the expected one, and how far others stray, (6,)."""

    expected: Lens
    spread: Float64Array

    @classmethod
    def told(cls, size: tuple[int, int], focal_px: float | None) -> LensPrior:
        """Return what is known when the focal length is told, or, with None, when it is not."""
        spread = np.array([TOLD_FOCAL, *RADIAL_SPREAD, *AXIS_SPREAD])
        if focal_px is None:
            spread[0] = UNTOLD_FOCAL
        return cls(Lens(size, focal_px or float(max(size))), spread)

    def strayed(self, lens: Lens) -> Float64Array:
        """Return by how much the unknowns of a lens differ from the expected ones, (6,)."""
        return lens.unknowns - self.expected.unknowns
