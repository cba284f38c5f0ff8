"""One adjustment of the whole burst: turns, lens and all stars' directions together.

What is measured is where stars lie in frames; what is unknown is the lens, the few numbers of the
turning sky (or three a frame) and two for each star. The stars' are eliminated, exactly, so that
the equations to solve stay as few as the rest; all is repeated with weights that forget
measurements which disagree: planes, neighbours taken for one another, hot pixels.

Source: B. Triggs, P. McLauchlan, R. Hartley and A. Fitzgibbon, "Bundle adjustment - a modern
synthesis" (2000), doi:10.1007/3-540-44480-7_21, section 6 for the elimination; J. Tukey's
biweight as in P. Huber, "Robust Statistics" (1981).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stacker.register.sky.lens import Lens, LensPrior
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray
from stacker.register.sky.turning import Turning
from stacker.register.sky.turns import cross_matrix

# Tukey's constant: 95 % as good as least squares where all errors are normal
TUKEY = 4.685
# coding and neighbours misplace a star by so much beyond what its fit says
FLOOR_PX = 0.01
# reach of the weights in px: from what matching may have let in, to what the scatter says
ANNEALED_PX: tuple[float, ...] = (8.0, 4.0, 2.0)
# the middle length of two normal coordinates, in standard deviations, and the least scale of
# errors that is believed, however few there are
MIDDLE_LENGTH, LEAST_SCALE = 1.1774, 0.3
STEPS = 20
# a cost that falls by less than this share has come to rest: while drawing in, and at last, when
# it is far less than what chance makes of the cost
DRAWN_IN, AT_REST = 1e-2, 1e-4
LENS_STEP = 1e-5


@dataclass(frozen=True, eq=False)
class Sightings:
    """Which star was seen where: ``frame``, ``star`` (N,), ``place`` (N, 2), ``error_px`` (N,).

    Sorted by star; stars are numbered from 0 without gaps.
    """

    frame: IntArray
    star: IntArray
    place: Float64Array
    error_px: Float64Array

    @property
    def stars(self) -> int:
        """How many stars there are."""
        return int(self.star[-1]) + 1 if len(self.star) else 0

    def chosen(self, keep: BoolArray) -> Sightings:
        """Return those that ``keep`` names, of stars seen twice at least, numbered anew."""
        count = np.bincount(self.star[keep], minlength=self.stars)
        keep = keep & (count[self.star] >= 2)
        _, star = np.unique(self.star[keep], return_inverse=True)
        return Sightings(
            self.frame[keep], star.astype(np.intp), self.place[keep], self.error_px[keep]
        )


@dataclass(frozen=True, eq=False)
class Adjusted:
    """What an adjustment found.

    ``stars`` (S, 3) are directions as the reference's rays; ``rest`` (N, 2) px is what remains of
    the sightings; ``scale`` how much larger the scatter is than they say; ``cost`` half the
    robust sum of squares, in units of that; ``covariance`` of the turning's unknowns and the
    free ones of the lens.
    """

    lens: Lens
    turning: Turning
    stars: Float64Array
    rest: Float64Array
    scale: float
    cost: float
    covariance: Float64Array


def directions(sightings: Sightings, lens: Lens, turning: Turning) -> Float64Array:
    """Return the middle direction of each star, as the reference's rays, (S, 3)."""
    rays = lens.rays(sightings.place)
    back = np.einsum("nji,nj->ni", turning.turns[sightings.frame], rays)
    total = np.zeros((sightings.stars, 3))
    np.add.at(total, sightings.star, back / sightings.error_px[:, None])
    return np.asarray(total / np.linalg.norm(total, axis=1, keepdims=True))


def adjust(
    sightings: Sightings,
    lens: Lens,
    turning: Turning,
    free: BoolArray,
    *,
    prior: LensPrior,
    reaches_px: tuple[float, ...] = ANNEALED_PX,
) -> Adjusted:
    """Return lens, turns and stars that explain the sightings best.

    Parameters
    ----------
    free : bool (6,), which of ``Lens.unknowns`` may change.
    prior : what is known of the lens beforehand.
    reaches_px : of the weights, one round each, before the scatter sets it.
    """
    error = stated_errors(sightings.error_px)
    usual = float(np.median(error))
    now = _State(lens, turning, directions(sightings, lens, turning))
    scale = 1.0
    for reach in (*reaches_px, 0.0, 0.0):
        if reach == 0.0:
            scale = _scale(now.rest(sightings), error, sightings.frame)
        least = reach / (TUKEY * usual)
        spread = error * max(scale, least)
        now = _solve(sightings, now, free, prior, spread, DRAWN_IN if reach else AT_REST)
    spread = error * scale
    rest = now.rest(sightings)
    reduced = _normal(sightings, now, free, prior, spread)[2]
    covariance = np.asarray(np.linalg.pinv(reduced))
    cost = float(losses(rest, spread).sum()) + now.prior_cost(free, prior)
    return Adjusted(now.lens, now.turning, now.stars, rest, scale, cost, covariance)


def rests(sightings: Sightings, lens: Lens, turning: Turning) -> Float64Array:
    """Return how far sightings lie from the middle of their star's, px (N, 2)."""
    return _State(lens, turning, directions(sightings, lens, turning)).rest(sightings)


def stated_errors(error_px: Float64Array) -> Float64Array:
    """Return the standard deviation of each coordinate (N,), px, from what the fits say of it."""
    return np.hypot(error_px, FLOOR_PX)


def losses(rest: Float64Array, spread: Float64Array) -> Float64Array:
    """Return the robust loss (N,) of residuals (N, 2) with standard deviations (N,); half the
    square of the residual in these where it is small."""
    square = np.sum(rest**2, axis=1) / (TUKEY * spread) ** 2
    return np.asarray(TUKEY**2 / 6 * (1 - np.maximum(1 - square, 0) ** 3))


def weights(rest: Float64Array, spread: Float64Array) -> Float64Array:
    """Return Tukey's weights (N,) of residuals (N, 2) with standard deviations (N,)."""
    square = np.sum(rest**2, axis=1) / (TUKEY * spread) ** 2
    return np.asarray(np.where(square < 1, (1 - square) ** 2, 0.0))


@dataclass(frozen=True, eq=False)
class _State:
    lens: Lens
    turning: Turning
    stars: Float64Array

    def rest(self, sightings: Sightings) -> Float64Array:
        """Return how far sightings lie from where they should, px (N, 2)."""
        flat = self.lens.straightened(sightings.place)
        rest = flat - self.lens.pinhole(self._rays(sightings))
        return np.asarray(np.einsum("nij,nj->ni", self.lens.bending(sightings.place), rest))

    def _rays(self, sightings: Sightings) -> Float64Array:
        turns = self.turning.turns[sightings.frame]
        return np.asarray(np.einsum("nij,nj->ni", turns, self.stars[sightings.star]))

    def prior_cost(self, free: BoolArray, prior: LensPrior) -> float:
        strayed = (prior.strayed(self.lens) / prior.spread)[free]
        return float(strayed @ strayed) / 2

    def moved(self, step: Float64Array, star_step: Float64Array, free: BoolArray) -> _State:
        turning = self.turning.moved(step[: self.turning.unknowns])
        unknowns = self.lens.unknowns
        unknowns[free] += step[self.turning.unknowns :]
        moved = self.stars + np.einsum("sij,sj->si", tangents(self.stars), star_step)
        stars = moved / np.linalg.norm(moved, axis=1, keepdims=True)
        return _State(self.lens.with_unknowns(unknowns), turning, stars)

    def polished(self, sightings: Sightings, spread: Float64Array) -> _State:
        """Return the state after a step of the stars alone.

        A step of the focal length takes stars along a curve; without this, the straight steps
        of both together would have to be tiny.
        """
        rest = self.rest(sightings)
        by_star = self._star_slopes(sightings, self._view(sightings, self._rays(sightings)))
        inverse, right = _star_equations(
            sightings, by_star, rest, weights(rest, spread) / spread**2
        )
        none = np.zeros(self.turning.unknowns)
        return self.moved(none, np.einsum("sij,sj->si", inverse, right), np.zeros(6, bool))

    def _view(self, sightings: Sightings, ray: Float64Array) -> Float64Array:
        """Return how the picture of directions (N, 3) changes with them, (N, 2, 3)."""
        return self.lens.bending(sightings.place) @ self.lens.pinhole_slopes(ray)

    def _star_slopes(self, sightings: Sightings, view: Float64Array) -> Float64Array:
        """Return how the rest changes with the stars' places across (N, 2, 2)."""
        by_ray = -view @ self.turning.turns[sightings.frame]
        return np.asarray(by_ray @ tangents(self.stars)[sightings.star])

    def slopes(self, sightings: Sightings, free: BoolArray) -> tuple[Float64Array, Float64Array]:
        """Return how the rest changes with the unknowns (N, 2, U) and the stars (N, 2, 2)."""
        ray = self._rays(sightings)
        view = self._view(sightings, ray)
        by_turn = view @ cross_matrix(ray)  # a small turn w moves a ray by w x ray
        columns = [by_turn @ self.turning.slopes()[sightings.frame]]
        if free.any():
            columns.append(self._lens_slopes(sightings, free))
        return np.concatenate(columns, axis=2), self._star_slopes(sightings, view)

    def _lens_slopes(self, sightings: Sightings, free: BoolArray) -> Float64Array:
        here = self.rest(sightings)
        columns = []
        for number in np.flatnonzero(free):
            unknowns = self.lens.unknowns
            unknowns[number] += LENS_STEP
            there = replace(self, lens=self.lens.with_unknowns(unknowns)).rest(sightings)
            columns.append((there - here) / LENS_STEP)
        return np.stack(columns, axis=2)


def tangents(stars: Float64Array) -> Float64Array:
    """Return two directions across each star's, (S, 3, 2)."""
    least = np.eye(3)[np.argmin(np.abs(stars), axis=1)]
    first = np.cross(stars, least)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([first, np.cross(stars, first)], axis=2)


def _scale(rest: Float64Array, error: Float64Array, frame: IntArray) -> float:
    """Return by how much residuals exceed their errors in the usual frame.

    Frames count alike, however many stars they show, so that a few odd ones do not rule.
    """
    length = np.linalg.norm(rest, axis=1) / error
    middles = [float(np.median(length[frame == number])) for number in np.unique(frame)]
    return max(float(np.median(middles)) / MIDDLE_LENGTH, LEAST_SCALE)


def _per_star(sightings: Sightings, each: Float64Array) -> Float64Array:
    """Return the sums over the sightings of each star, (S, ...)."""
    starts = np.flatnonzero(np.diff(sightings.star, prepend=-1))
    return np.asarray(np.add.reduceat(each, starts, axis=0))


def _star_equations(
    sightings: Sightings, by_star: Float64Array, rest: Float64Array, weight: Float64Array
) -> tuple[Float64Array, Float64Array]:
    """Return the inverse normal matrices (S, 2, 2) and right sides (S, 2) of the stars."""
    normal = _per_star(sightings, np.einsum("nks,nkt,n->nst", by_star, by_star, weight))
    # a star of which nothing is believed stays where it is
    normal += np.eye(2) * (1e-9 * normal.max() + 1e-12)
    right = -_per_star(sightings, np.einsum("nks,nk,n->ns", by_star, rest, weight))
    return np.asarray(np.linalg.inv(normal)), right


def _normal(
    sightings: Sightings, now: _State, free: BoolArray, prior: LensPrior,
    spread: Float64Array,
) -> tuple[Float64Array, tuple[Float64Array, ...], Float64Array]:  # fmt: skip
    """Return the right side, what brings the stars back, and the reduced normal matrix."""
    rest = now.rest(sightings)
    weight = weights(rest, spread) / spread**2
    by_unknown, by_star = now.slopes(sightings, free)
    weighted = by_unknown * weight[:, None, None]
    flat = by_unknown.reshape(-1, by_unknown.shape[2])
    normal = weighted.reshape(flat.shape).T @ flat
    right = -np.einsum("nku,nk->u", weighted, rest)
    mixed = _per_star(sightings, np.einsum("nku,nks->nus", weighted, by_star))
    inverse, star_right = _star_equations(sightings, by_star, rest, weight)
    across = mixed @ inverse
    flat_mixed = mixed.transpose(1, 0, 2).reshape(len(right), -1)
    flat_across = across.transpose(1, 0, 2).reshape(len(right), -1)
    reduced = normal - flat_across @ flat_mixed.T
    right = right - np.einsum("sut,st->u", across, star_right)
    count = now.turning.unknowns
    tie = prior.spread[free] ** -2
    reduced[np.arange(count, len(right)), np.arange(count, len(right))] += tie
    right[count:] -= tie * prior.strayed(now.lens)[free]
    return right, (inverse, mixed, star_right), reduced


def _solve(
    sightings: Sightings, now: _State, free: BoolArray, prior: LensPrior,
    spread: Float64Array, at_rest: float,
) -> _State:  # fmt: skip
    """Return the state of least cost for fixed errors, by damped Gauss-Newton steps."""
    cost = float(losses(now.rest(sightings), spread).sum()) + now.prior_cost(free, prior)
    damping = 1e-4
    for _ in range(STEPS):
        right, (inverse, mixed, star_right), reduced = _normal(sightings, now, free, prior, spread)
        fell = 0.0
        for _ in range(6):
            damped = reduced + np.diag(damping * np.diag(reduced) + 1e-12)
            step: Float64Array = np.asarray(np.linalg.solve(damped, right))
            star_step = np.einsum(
                "sij,sj->si", inverse, star_right - np.einsum("uij,i->uj", mixed, step)
            )
            tried = now.moved(step, star_step, free).polished(sightings, spread)
            new = float(losses(tried.rest(sightings), spread).sum()) + tried.prior_cost(free, prior)
            if new < cost:
                fell, now, cost = cost - new, tried, new
                damping = max(damping / 10, 1e-9)
                break
            damping *= 10
        if fell <= at_rest * cost:
            break
    return now
