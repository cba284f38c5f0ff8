"""Fitting points of light: place, width and brightness, many at a time.

The light of a star is described by an elliptical Gaussian on an even background. Taken at pixel
centres it misplaces a star that pixels collect by at most 0.005 px (at a full width at half
maximum of 1.2 px; far less for wider ones). A star that trails a little within its frame is an
elongated Gaussian about the middle of the exposure.

Source: P. B. Stetson, "DAOPHOT: a computer program for crowded-field stellar photometry", PASP 99
(1987), doi:10.1086/131977, for fitting points by least squares; the damping follows D. Marquardt,
"An algorithm for least-squares estimation of nonlinear parameters", SIAM J. Appl. Math. 11 (1963),
doi:10.1137/0111030.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Float64Array = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# steps of the fit; the last ones change the third digit of a pixel for stars that fit at all
STEPS = 14
# narrowest and widest standard deviation that is tried, px; the widest as a share of the patch
NARROWEST_PX = 0.25
WIDEST_SHARE = 1.2
# pixels that are enough to know seven unknowns
LEAST_PIXELS = 12
# a star whose fit wanders farther than this from its brightest pixel is something else
WANDERED_PX = 2.0


@dataclass(frozen=True, eq=False)
class FittedPoints:
    """Points of light, one row each.

    ``place`` (N, 2) in px; ``height`` above the background, linear light; ``long`` and ``wide``
    the greater and lesser standard deviation of the ellipse, px; ``error_px`` the standard
    deviation of each coordinate of the place; ``ok`` whether the fit came to rest.
    """

    place: Float64Array
    height: Float64Array
    long: Float64Array
    wide: Float64Array
    error_px: Float64Array
    ok: BoolArray


def fit_points(patches: Float64Array, clear: BoolArray, width_px: float) -> FittedPoints:
    """Return the points of light in the middle of square patches, relative to their middle.

    Parameters
    ----------
    patches : float64 (N, side, side), linear light; ``side`` is odd. Not changed.
    clear : bool (N, side, side), False where a pixel is burnt out and says nothing.
    width_px : standard deviation from which the fit starts.
    """
    count, side, _ = patches.shape
    reach = side // 2
    offset = np.arange(-reach, reach + 1, dtype=np.float64)
    x, y = (axis.ravel() for axis in np.meshgrid(offset, offset))
    data = patches.reshape(count, side * side)
    weight = clear.reshape(count, side * side).astype(np.float64)
    unknowns = _start(data, reach, width_px)
    damping = np.full(count, 1e-2)
    steps, cost = _normal(unknowns, data, weight, x, y)
    for _ in range(STEPS):
        tried = _within(unknowns + _solve(*steps, damping), reach)
        new_steps, new_cost = _normal(tried, data, weight, x, y)
        better = new_cost <= cost
        unknowns = np.where(better[:, None], tried, unknowns)
        steps = tuple(
            np.where(better.reshape(-1, *[1] * (old.ndim - 1)), new, old)
            for new, old in zip(new_steps, steps, strict=True)
        )  # type: ignore[assignment]
        cost = np.where(better, new_cost, cost)
        damping = np.clip(np.where(better, damping / 5, damping * 5), 1e-6, 1e3)
    return _read(unknowns, steps[0], cost, weight.sum(axis=1))


def _start(data: Float64Array, reach: int, width_px: float) -> Float64Array:
    """Return height, x, y, three of the inverse ellipse and the background, (N, 7)."""
    ground = np.percentile(data, 25, axis=1)
    middle = data.shape[1] // 2
    height = np.maximum(data[:, middle] - ground, 1e-9)
    unknowns = np.zeros((len(data), 7))
    unknowns[:, 0], unknowns[:, 6] = height, ground
    unknowns[:, 3] = unknowns[:, 5] = width_px**-2
    return unknowns


def _normal(
    unknowns: Float64Array, data: Float64Array, weight: Float64Array, x: Float64Array,
    y: Float64Array,
) -> tuple[tuple[Float64Array, Float64Array], Float64Array]:  # fmt: skip
    """Return normal matrices (N, 7, 7), right sides (N, 7) and sums of squares (N,)."""
    height, x0, y0, a, b, c, ground = (column[:, None] for column in unknowns.T)
    dx, dy = x - x0, y - y0
    shape = np.exp(-0.5 * (a * dx * dx + 2 * b * dx * dy + c * dy * dy))
    light = height * shape
    slopes = np.stack(
        [
            shape, light * (a * dx + b * dy), light * (b * dx + c * dy),
            -0.5 * light * dx * dx, -light * dx * dy, -0.5 * light * dy * dy, np.ones_like(light),
        ], axis=1,
    )  # fmt: skip
    rest = data - light - ground
    weighted = slopes * weight[:, None]
    normal = weighted @ slopes.transpose(0, 2, 1)
    right = np.einsum("nki,ni->nk", weighted, rest)
    return (normal, right), np.einsum("ni,ni->n", rest * weight, rest)


def _solve(normal: Float64Array, right: Float64Array, damping: Float64Array) -> Float64Array:
    diagonal = np.einsum("nkk->nk", normal)
    damped = normal.copy()
    # the small absolute term keeps a point of no height solvable
    np.einsum("nkk->nk", damped)[:] += damping[:, None] * diagonal + 1e-18
    return np.asarray(np.linalg.solve(damped, right[..., None])[..., 0])


def _within(unknowns: Float64Array, reach: int) -> Float64Array:
    """Return unknowns that describe a point of light within the patch."""
    kept = unknowns.copy()
    kept[:, 0] = np.maximum(kept[:, 0], 1e-9)
    kept[:, 1:3] = np.clip(kept[:, 1:3], -reach, reach)
    low, high = (WIDEST_SHARE * reach) ** -2.0, NARROWEST_PX**-2.0
    kept[:, 3], kept[:, 5] = np.clip(kept[:, 3], low, high), np.clip(kept[:, 5], low, high)
    most = 0.98 * np.sqrt(kept[:, 3] * kept[:, 5])
    kept[:, 4] = np.clip(kept[:, 4], -most, most)
    return kept


def _read(
    unknowns: Float64Array, normal: Float64Array, cost: Float64Array, pixels: Float64Array
) -> FittedPoints:
    a, b, c = unknowns[:, 3], unknowns[:, 4], unknowns[:, 5]
    # eigenvalues of the inverse ellipse
    mean, apart = (a + c) / 2, np.sqrt(((a - c) / 2) ** 2 + b * b)
    long, wide = (mean - apart) ** -0.5, (mean + apart) ** -0.5
    variance = cost / np.maximum(pixels - 7, 1)
    diagonal = np.einsum("nkk->nk", normal)
    scale = np.sqrt(np.maximum(diagonal, 1e-30))
    scaled = normal / (scale[:, :, None] * scale[:, None, :])
    inverse = np.linalg.inv(scaled + 1e-10 * np.eye(7))
    spread = np.stack([inverse[:, k, k] / scale[:, k] ** 2 for k in (1, 2)], axis=1)
    error = np.sqrt(np.maximum(spread, 0).mean(axis=1) * variance)
    place = unknowns[:, 1:3]
    ok = (pixels >= LEAST_PIXELS) & np.isfinite(error) & (np.abs(place).max(axis=1) < WANDERED_PX)
    return FittedPoints(place, unknowns[:, 0], long, wide, error, ok)
