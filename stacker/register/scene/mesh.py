"""Beyond one plane: a smooth mesh of small shifts, where it foretells what it was not shown.

Depth, a rolling shutter and the lens leave shifts that vary over the picture and that no
homography explains. A mesh always explains the tiles it is fitted to; so it is fitted to half of
them, in a chequer pattern, and kept only where it explains the other half.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from stacker.register.local import LocalCorrection, bilinear
from stacker.register.scene.align import (
    Answers,
    Fit,
    ask,
    full_places,
    sample,
    scatter_of,
    tile_weights,
)
from stacker.register.scene.consensus import tile_shifts
from stacker.register.scene.grey import Grey, doubled_level
from stacker.register.scene.tiles import Tiles

Float64Array = npt.NDArray[np.float64]

# nodes along the longer side
NODES = 12
# ... and of the cruder mesh that is tried first, on what the fit has asked already
FEW_NODES = 6
# how much neighbouring shifts may bend, px: the candidates among which the other half chooses
BENDS_PX = (0.02, 0.08, 0.3, 1.0)
# a node without any texture near it stays within this of nothing
LOOSE_PX = 3.0
# how far tiles may lie from the motion to be asked, px
TOLERANCE_PX = 3.0
# deviations by which the other half must be explained better
SIGNIFICANT = 5.0
# a mesh that moves less than this, px of the copy, is not worth sampling by
LEAST_PX = 0.05
ROUNDS = 2
# Where fewer tiles than this agree with the motion, some may lie too far off to say where they
# wish to go: they are looked for. Errors of that, px, and how far they may lie from the mesh.
FAR_OFF = 0.9
# ... but where walkers outnumber the ground, a mesh would follow them
OUTNUMBERED = 0.42
LOOKED_FOR_PX = 0.3
LEAST_FOUND = 30
NARROWING_PX = (4.0, 3.0, 2.0, 1.0)
ROUGH_BEND_PX = 0.3
# a tile counts as foretold within so many pixels
FORETOLD_PX = 1.5
# tiles that noise lets tell their shift to this, px, tell how far the mesh is off
TELLS_PX = 0.15


@dataclass(frozen=True, eq=False)
class _Wishes:
    """The tiles' normal equations for shifts of their own, by what noise explains."""

    matrix: Float64Array
    vector: Float64Array
    nodes: Float64Array  # (T, n): share of each node in each tile


@dataclass(frozen=True, eq=False)
class Bend:
    """A mesh, and the root mean squared shift, px, that is left in the tiles after it."""

    local: LocalCorrection
    left_px: float


def local_correction(
    reference: Grey, tiles: Tiles, frame: Grey, fit: Fit, size: tuple[int, int]
) -> Bend | None:
    """Return the mesh that the tiles ask for beyond the motion of ``fit``, or None.

    In pixels of the copies that the motion is between; ``tiles`` are of their first level.
    """
    places = full_places(tiles)
    x, y = _nodes(size, NODES)
    shape = (len(y), len(x))
    shifts = None
    if OUTNUMBERED < fit.agreeing < FAR_OFF:
        shifts = _looked_for(reference, tiles, frame, fit, x, y)
    if shifts is None:
        few_x, few_y = _nodes(size, FEW_NODES)
        before = _weighed(tiles, fit.answers, fit, _shares(places, few_x, few_y))
        if not _best_bend(tiles, before, (len(few_y), len(few_x)), BENDS_PX[1:]):
            return None
        shifts = np.zeros((len(x) * len(y), 2))
    doubled = doubled_level(frame.levels[0])
    share = _shares(places, x, y)
    bend = 0.0
    for number in range(ROUNDS):
        wishes = _ask(tiles, frame, doubled, fit, share, share @ shifts)
        if number == 0:
            bend = _best_bend(tiles, wishes, shape, BENDS_PX)
            if not bend and not shifts.any():
                return None
            bend = bend or ROUGH_BEND_PX
        step = _solve(wishes, bend, shape, shifts)
        shifts = shifts + step
    if np.sqrt(np.mean(np.sum((share @ shifts) ** 2, axis=1))) < LEAST_PX:
        return None
    dx, dy = (shifts[:, axis].reshape(shape) for axis in (0, 1))
    return Bend(LocalCorrection(x, y, dx, dy), _left_px(wishes, share @ step))


def _left_px(wishes: _Wishes, step: Float64Array) -> float:
    """Return the root mean squared shift that tiles still wish after a step (T, 2), less noise."""
    covariance = np.linalg.inv(wishes.matrix + 1e-9 * np.eye(2))
    noise = np.trace(covariance, axis1=1, axis2=2)
    tells = noise < TELLS_PX**2
    if not tells.any():
        return 0.0
    wish = np.einsum("tij,tj->ti", covariance[tells], wishes.vector[tells]) - step[tells]
    square = np.minimum(np.sum(wish**2, axis=1), TOLERANCE_PX**2) - noise[tells]
    return float(np.sqrt(max(0.0, float(square.mean()))))


def _looked_for(
    reference: Grey, tiles: Tiles, frame: Grey, fit: Fit, x: Float64Array, y: Float64Array
) -> Float64Array | None:
    """Return the nodes' shifts (n, 2) by where tiles are found; None if that foretells nothing."""
    places, went = tile_shifts(reference, tiles, frame, fit.to_frame)
    if len(places) < LEAST_FOUND:
        return None
    share = _shares(places, x, y)
    shape = (len(y), len(x))
    odd = np.sum(places // tiles.side, axis=1) % 2 == 1
    gains = np.zeros(len(places))
    for half in (odd, ~odd):
        foretold = share @ _robust(share, -went, half, shape)
        gains += ~half * (_near(went + foretold) - _near(went))
    if gains.sum() <= SIGNIFICANT * np.sqrt(np.sum(gains**2)):
        return None
    return _robust(share, -went, np.ones(len(places), bool), shape)


def _near(shifts: Float64Array) -> Float64Array:
    """Return 1 for shifts (N, 2) of nothing down to 0 for those that were not foretold, (N,)."""
    return np.asarray(np.maximum(1 - np.sum(shifts**2, axis=1) / FORETOLD_PX**2, 0))


def _robust(
    share: Float64Array, wanted: Float64Array, use: npt.NDArray[np.bool_], shape: tuple[int, int]
) -> Float64Array:
    """Return the nodes' shifts (n, 2) that most of the shifts wanted, (N, 2), lie near."""
    shifts = np.zeros((share.shape[1], 2))
    for reach in NARROWING_PX:
        off = np.sum((wanted - share @ shifts) ** 2, axis=1) / reach**2
        weight = use * np.maximum(1 - off, 0) ** 2 / LOOKED_FOR_PX**2
        matrix = weight[:, None, None] * np.eye(2)
        wishes = _Wishes(matrix, wanted * weight[:, None], share)
        shifts = _solve(wishes, ROUGH_BEND_PX, shape, np.zeros_like(shifts))
    return shifts


def _nodes(size: tuple[int, int], longest: int) -> tuple[Float64Array, Float64Array]:
    across, down = (max(3, round(longest * side / max(size))) for side in size)
    return np.linspace(0, size[0] - 1, across), np.linspace(0, size[1] - 1, down)


def _shares(places: Float64Array, x: Float64Array, y: Float64Array) -> Float64Array:
    """Return the share of each node, row by row, in each place (T, 2): (T, ny * nx)."""
    across, down = bilinear(x, places[:, 0]), bilinear(y, places[:, 1])
    return np.asarray((down[:, :, None] * across[:, None, :]).reshape(len(places), -1))


def _ask(
    tiles: Tiles,
    frame: Grey,
    doubled: npt.NDArray[np.float32],
    fit: Fit,
    share: Float64Array,
    shift: Float64Array,
) -> _Wishes:
    """Return what the tiles wish beyond the shifts (T, 2) that they have."""
    moved = shift.astype(np.float32)
    shifted = replace(tiles, x=tiles.x - moved[:, :1], y=tiles.y - moved[:, 1:])
    value, use = sample(shifted, frame, fit.to_frame, doubled)
    return _weighed(tiles, ask(tiles, value, use, fit.noise, TOLERANCE_PX), fit, share)


def _weighed(tiles: Tiles, answers: Answers, fit: Fit, share: Float64Array) -> _Wishes:
    """Return the tiles' answers, each divided by what noise and neighbours explain."""
    weight = tile_weights(answers, tiles, fit.noise, TOLERANCE_PX)
    weight = weight / np.maximum(answers.variance, fit.noise**2) / scatter_of(fit, 0)
    matrix = answers.matrix * (weight * tiles.signal**2)[:, None, None]
    return _Wishes(matrix, answers.vector * (weight * tiles.signal)[:, None], share)


def _best_bend(
    tiles: Tiles, wishes: _Wishes, shape: tuple[int, int], bends: tuple[float, ...]
) -> float:
    """Return the bend with which half of the tiles foretell the other best; 0 if with none."""
    row, column = np.divmod(tiles.place, tiles.shape[1])
    odd = (row + column) % 2 == 1
    best, best_gain = 0.0, 0.0
    for bend in bends:
        gains = np.zeros(tiles.count)
        for half in (odd, ~odd):
            known = _Wishes(wishes.matrix * half[:, None, None], wishes.vector * half[:, None],
                            wishes.nodes)  # fmt: skip
            shift = wishes.nodes @ _solve(known, bend, shape, np.zeros((wishes.nodes.shape[1], 2)))
            gain = 2 * np.einsum("ti,ti->t", shift, wishes.vector)
            gain -= np.einsum("ti,tij,tj->t", shift, wishes.matrix, shift)
            gains += np.where(half, 0, gain)
        sure = gains.sum() > SIGNIFICANT * np.sqrt(np.sum(gains**2))
        if sure and gains.sum() > best_gain:
            best, best_gain = bend, float(gains.sum())
    return best


def _solve(
    wishes: _Wishes, bend: float, shape: tuple[int, int], shifts: Float64Array
) -> Float64Array:
    """Return by how much the nodes' shifts (n, 2) are to change."""
    count = wishes.nodes.shape[1]
    system = np.empty((count, 2, count, 2))
    for i, j in ((0, 0), (0, 1), (1, 1)):
        part = wishes.nodes.T @ (wishes.nodes * wishes.matrix[:, i, j, None])
        system[:, i, :, j] = system[:, j, :, i] = part
    wish = wishes.nodes.T @ wishes.vector
    stiff = _stiffness(shape) / bend**2 + np.eye(count) / LOOSE_PX**2
    whole = system.reshape(2 * count, 2 * count) + np.kron(stiff, np.eye(2))
    wish = wish - stiff @ shifts
    return np.asarray(np.linalg.solve(whole, wish.ravel()).reshape(count, 2))


@lru_cache(maxsize=8)
def _stiffness(shape: tuple[int, int]) -> Float64Array:
    """Return the matrix of the squared second differences of a grid of nodes, (n, n)."""
    rows, columns = shape

    def bends(count: int) -> Float64Array:
        second = np.diff(np.eye(count), n=2, axis=0)
        return np.asarray(second.T @ second)

    def slopes(count: int) -> Float64Array:
        first = np.diff(np.eye(count), axis=0)
        return np.asarray(first.T @ first)

    twist = 2 * np.kron(slopes(rows), slopes(columns))
    return np.asarray(
        np.kron(np.eye(rows), bends(columns)) + np.kron(bends(rows), np.eye(columns)) + twist
    )
