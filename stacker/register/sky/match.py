"""Which star of one frame is which star of another.

A guess (the turn so far, or none) is tried first, then turns from triangles that look alike. A
turn grows: stars near where it puts them correct it, and so on over the whole frame. It is
believed when more stars agree than chance would bring together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from stacker.register.sky.lens import Lens
from stacker.register.sky.nearness import nearest, pairs_within
from stacker.register.sky.points import Float64Array
from stacker.register.sky.stars import IntArray, StarList
from stacker.register.sky.triangles import alike_triangles
from stacker.register.sky.turns import best_turn

# brightest stars that triangles are made of, and that a hypothesis is tried on
BRIGHTEST = 60
# reach about a predicted place, px: at first (the lens is not known yet), while growing, at last
REACHES_PX = (6.0, 4.0, 3.0, 2.5, 2.5)
# a wrong match may come about in one of so many bursts
CHANCE = 1e-6
# stars that must agree whatever chance says
LEAST_AGREEING = 5
# share of the stars that ends the search among lenses when they agree with a guess
ENOUGH = 0.7
# hypotheses from triangles that are grown, the best first
GROWN = 6


@dataclass(frozen=True, eq=False)
class Matched:
    """Stars known again: numbers in the first list and in the second, and the turn between."""

    one: IntArray
    two: IntArray
    turn: Float64Array

    def __len__(self) -> int:
        return len(self.one)


def match(
    one: StarList, two: StarList, lenses: Iterable[Lens], guesses: Iterable[Float64Array]
) -> tuple[Matched, Lens] | None:
    """Return which stars of two frames are the same, and with which lens most agree.

    Parameters
    ----------
    one, two : stars that move with the sky, brightest first.
    lenses : those to try, of which the nearest need not be very near.
    guesses : turns from the first frame's rays to the second's, to try before triangles.
    """
    if min(len(one), len(two)) < LEAST_AGREEING:
        return None
    tried = list(lenses)
    best: tuple[Matched, Lens] | None = None
    guessed = list(guesses)
    for lens in tried:
        for guess in guessed:
            best = _better(best, _grow(one, two, lens, guess), lens)
        if best and len(best[0]) > ENOUGH * min(len(one), len(two)):
            break
    if best and is_believable(len(best[0]), len(one), len(two), best[1], trials=1):
        return best
    corners, others = alike_triangles(one.place[:BRIGHTEST], two.place[:BRIGHTEST])
    if len(corners) == 0:
        return None
    best = None
    for lens in tried:
        for turn in _likely(one, two, lens, corners, others):
            best = _better(best, _grow(one, two, lens, turn), lens)
    if best is None:
        return None
    trials = len(corners) * len(tried)
    sure = is_believable(len(best[0]), len(one), len(two), best[1], trials=trials, used=3)
    return best if sure else None


def is_believable(
    agreeing: int, ones: int, others: int, lens: Lens, *, trials: int, used: int = 0
) -> bool:
    """Whether more of ``ones`` and ``others`` agree than chance brings together in so many trials.

    ``used`` are stars that agree because the turn was made from them.
    """
    if agreeing < LEAST_AGREEING:
        return False
    area = lens.size[0] * lens.size[1]
    expected = ones * others * np.pi * REACHES_PX[-1] ** 2 / area
    free = agreeing - used
    if free <= expected:
        return False
    # Chernoff's bound on a Poisson count as large as this
    log_chance = free - expected - free * np.log(free / expected)
    return bool(log_chance + np.log(trials) < np.log(CHANCE))


def _better(
    best: tuple[Matched, Lens] | None, found: Matched | None, lens: Lens
) -> tuple[Matched, Lens] | None:
    if found is None or (best and len(found) <= len(best[0])):
        return best
    return found, lens


def _likely(
    one: StarList, two: StarList, lens: Lens, corners: IntArray, others: IntArray
) -> list[Float64Array]:
    """Return the turns from triangles that most of the bright stars agree with."""
    bright, bright_two = one.place[:BRIGHTEST], two.place[:BRIGHTEST]
    rays, rays_two = lens.rays(bright), lens.rays(bright_two)
    turns = best_turn(rays[corners], rays_two[others], np.ones(corners.shape))
    votes = np.empty(len(turns))
    for number, turn in enumerate(turns):
        _, distance = nearest(lens.project(rays @ turn.T), bright_two)
        votes[number] = (distance < REACHES_PX[0]).sum()
    return list(turns[np.argsort(-votes, kind="stable")[:GROWN]])


def _grow(one: StarList, two: StarList, lens: Lens, turn: Float64Array) -> Matched | None:
    """Return the stars that agree with a turn once they have corrected it."""
    rays, rays_two = lens.rays(one.place), lens.rays(two.place)
    first: IntArray = np.zeros(0, np.intp)
    second = first
    for reach in REACHES_PX:
        first, second = pairs_within(lens.project(rays @ turn.T), two.place, reach)
        if len(first) < 3:
            return None
        turn = robust_turn(rays[first], rays_two[second], lens.focal_px)
    return Matched(first, second, turn)


def robust_turn(rays: Float64Array, others: Float64Array, focal_px: float) -> Float64Array:
    """Return the turn between rays of which some are not the same star."""
    weight = np.ones(len(rays))
    turn = best_turn(rays, others, weight)
    for _ in range(4):
        apart = np.linalg.norm(rays @ turn.T - others, axis=1) * focal_px
        scale = max(float(np.median(apart)), 0.05)
        weight = 1 / (1 + (apart / (2 * scale)) ** 2) ** 2
        turn = best_turn(rays, others, weight)
    return turn
