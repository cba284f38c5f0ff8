"""Homographies in the convention of the whole program, and the algebra of them.

A motion is a float64 (3, 3) matrix that takes pixel coordinates (x, y, 1) of one picture to those
of another. Pixel centres lie at whole numbers, x to the right, y down.

Source: R. Hartley and A. Zisserman, "Multiple View Geometry in Computer Vision", 2nd edition
(2004), chapters 2 and 4.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Motion = npt.NDArray[np.float64]
Points = npt.NDArray[np.float64]

# points per side at which two motions are compared; more change the third digit at most
GRID_NODES = 16


def identity() -> Motion:
    """Return the motion that leaves every point where it is, (3, 3)."""
    return np.eye(3)


def translation(dx: float, dy: float) -> Motion:
    """Return the shift by (dx, dy) pixels, (3, 3)."""
    return np.array([[1.0, 0.0, dx], [0.0, 1.0, dy], [0.0, 0.0, 1.0]])


def normalise(motion: npt.ArrayLike) -> Motion:
    """Return the same motion with 1 in its last corner, float64 (3, 3).

    Raises
    ------
    ValueError
        The matrix takes the first pixel to infinity or is not a motion at all.
    """
    matrix = np.asarray(motion, dtype=np.float64)
    if matrix.shape != (3, 3) or not np.isfinite(matrix).all() or matrix[2, 2] == 0:
        raise ValueError(f"no motion between two pictures: {matrix.tolist()}")
    return np.asarray(matrix / matrix[2, 2])


def compose(outer: Motion, inner: Motion) -> Motion:
    """Return the motion that does ``inner`` first and ``outer`` after it."""
    return normalise(outer @ inner)


def invert(motion: Motion) -> Motion:
    """Return the motion that undoes this one.

    Raises
    ------
    ValueError
        It cannot be undone: it flattens the picture.
    """
    try:
        return normalise(np.linalg.inv(motion))
    except np.linalg.LinAlgError:
        raise ValueError(f"a motion that cannot be undone: {motion.tolist()}") from None


def apply(motion: Motion, points: npt.ArrayLike) -> Points:
    """Return where points (N, 2) of (x, y) go, float64 (N, 2)."""
    places = np.asarray(points, dtype=np.float64)
    moved = places @ motion[:, :2].T + motion[:, 2]
    return np.asarray(moved[:, :2] / moved[:, 2:])


def to_full(motion: Motion, factor: int) -> Motion:
    """Return for full-size pictures the motion found between copies reduced by ``factor``.

    The centre of reduced pixel x lies at ``factor * x + (factor - 1) / 2`` of the full picture, as
    ``light.reduce`` makes them.
    """
    return _rescaled(motion, float(factor), (factor - 1) / 2)


def to_reduced(motion: Motion, factor: int) -> Motion:
    """Return for copies reduced by ``factor`` a motion between the full-size pictures."""
    return _rescaled(motion, 1 / factor, (1 / factor - 1) / 2)


def _rescaled(motion: Motion, scale: float, offset: float) -> Motion:
    to = np.array([[scale, 0.0, offset], [0.0, scale, offset], [0.0, 0.0, 1.0]])
    return normalise(to @ motion @ np.linalg.inv(to))


def grid_of(size: tuple[int, int], nodes: int = GRID_NODES) -> Points:
    """Return ``nodes`` x ``nodes`` points spread evenly over a picture of (width, height)."""
    x = np.linspace(0, size[0] - 1, nodes)
    y = np.linspace(0, size[1] - 1, nodes)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def rms_difference(one: Motion, other: Motion, points: npt.ArrayLike) -> float:
    """Return the root of the mean squared distance, in pixels, between where two motions lead.

    Parameters
    ----------
    points : (N, 2), of the picture that both start from; ``grid_of`` spreads them over it.
    """
    apart = apply(one, points) - apply(other, points)
    return float(np.sqrt(np.mean(np.sum(np.square(apart), axis=1))))


def is_identity(motion: Motion) -> bool:
    """Whether nothing moves at all: exactly, not nearly."""
    return bool(np.array_equal(motion, np.eye(3)))


def whole_shift(motion: Motion) -> tuple[int, int] | None:
    """Return (dx, dy) where the motion is a shift by whole pixels, None for any other."""
    dx, dy = round(float(motion[0, 2])), round(float(motion[1, 2]))
    return (dx, dy) if np.array_equal(motion, translation(dx, dy)) else None
