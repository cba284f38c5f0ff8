"""Turns of a camera: the algebra of rotations, and the best turn between two sets of rays.

Source: R. Hartley and A. Zisserman, "Multiple View Geometry in Computer Vision", 2nd edition
(2004), appendix 4.3.2, for angle and axis; W. Kabsch, Acta Cryst. A 32 (1976),
doi:10.1107/S0567739476001873, for the best turn.
"""

from __future__ import annotations

import numpy as np

from stacker.register.sky.points import Float64Array


def turn_about(vector: Float64Array) -> Float64Array:
    """Return the turns (..., 3, 3) about vectors (..., 3) by their length in radians."""
    angle = np.linalg.norm(vector, axis=-1)[..., None, None]
    cross = cross_matrix(vector)
    # sin(a)/a and (1 - cos(a))/a^2 without dividing by nothing
    first, second = np.sinc(angle / np.pi), np.sinc(angle / (2 * np.pi)) ** 2 / 2
    return np.asarray(np.eye(3) + first * cross + second * (cross @ cross))


def vector_of(turn: Float64Array) -> Float64Array:
    """Return the vector (3,) that ``turn_about`` makes the turn from; less than half a circle."""
    twice = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    sine = np.linalg.norm(twice) / 2
    cosine = (np.trace(turn) - 1) / 2
    angle = np.arctan2(sine, cosine)
    if sine > 1e-7:
        return np.asarray(twice / (2 * sine) * angle)
    return np.asarray(twice / 2)


def cross_matrix(vector: Float64Array) -> Float64Array:
    """Return matrices (..., 3, 3) that take a vector to its cross product with these."""
    x, y, z = np.moveaxis(np.asarray(vector, np.float64), -1, 0)
    none = np.zeros_like(x)
    rows = [np.stack([none, -z, y], -1), np.stack([z, none, -x], -1), np.stack([-y, x, none], -1)]
    return np.stack(rows, -2)


def best_turn(rays: Float64Array, others: Float64Array, weight: Float64Array) -> Float64Array:
    """Return the turns (..., 3, 3) that bring ``rays`` (..., N, 3) nearest to ``others``.

    ``weight`` is (..., N).
    """
    product = np.einsum("...ni,...nj,...n->...ij", others, rays, weight)
    u, _, v = np.linalg.svd(product)
    # a mirror image is no turn
    sign = np.sign(np.linalg.det(u @ v))
    u = u.copy()
    u[..., :, 2] *= sign[..., None]
    return np.asarray(u @ v)
