"""The turn of one frame alone, against stars that are known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stacker.register.sky.adjust import losses, weights
from stacker.register.sky.lens import Lens
from stacker.register.sky.points import Float64Array
from stacker.register.sky.turns import cross_matrix, turn_about

STEPS = 8


@dataclass(frozen=True, eq=False)
class OwnTurn:
    """The turn (3, 3) from the reference's rays to a frame's, the covariance (3, 3) of a small
    turn after it, and twice the robust loss that remains."""

    turn: Float64Array
    covariance: Float64Array
    loss: float


def own_turn(
    place: Float64Array, stars: Float64Array, spread: Float64Array, lens: Lens, start: Float64Array
) -> OwnTurn:
    """Return the turn that explains places (N, 2) of stars (N, 3) with errors (N,), px."""
    turn = start
    information = np.zeros((3, 3))
    for number in range(STEPS + 1):
        rest, view = _seen(place, stars, lens, turn)
        # far starts are drawn in before the errors rule
        reach = spread * max(1.0, 8.0 / 2**number)
        weight = weights(rest, reach) / spread**2
        information = np.einsum("nki,nkj,n->ij", view, view, weight)
        # one or two stars leave a turn about themselves unknown: then it stays as it is
        information += (1e-9 * np.trace(information) + 1e-9) * np.eye(3)
        if number == STEPS:
            break
        step = -np.linalg.solve(information, np.einsum("nki,nk,n->i", view, rest, weight))
        turn = turn_about(step) @ turn
    rest, _ = _seen(place, stars, lens, turn)
    covariance = np.asarray(np.linalg.inv(information))
    return OwnTurn(turn, covariance, float(2 * losses(rest, spread).sum()))


def loss_of(
    place: Float64Array, stars: Float64Array, spread: Float64Array, lens: Lens, turn: Float64Array
) -> float:
    """Return twice the robust loss of places (N, 2) of stars (N, 3) under a turn."""
    rest, _ = _seen(place, stars, lens, turn)
    return float(2 * losses(rest, spread).sum())


def _seen(
    place: Float64Array, stars: Float64Array, lens: Lens, turn: Float64Array
) -> tuple[Float64Array, Float64Array]:
    """Return residuals (N, 2) and how they change with a small turn (N, 2, 3)."""
    ray = stars @ turn.T
    bending = lens.bending(place)
    rest = np.einsum("nij,nj->ni", bending, lens.straightened(place) - lens.pinhole(ray))
    return rest, bending @ lens.pinhole_slopes(ray) @ cross_matrix(ray)
