"""The search for the one sky behind the moving points of all frames.

From the chain of neighbouring frames comes a first sky; its stars are looked for in all frames,
which gives better sightings, and these a better sky.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from stacker.errors import BurstError
from stacker.register.sky.adjust import ANNEALED_PX, stated_errors
from stacker.register.sky.lens import Lens, LensPrior
from stacker.register.sky.own_turn import OwnTurn, loss_of, own_turn
from stacker.register.sky.points import Float64Array
from stacker.register.sky.sky_model import (
    SkyModel,
    asked_for,
    first_model,
    nearest_start,
    settle,
)
from stacker.register.sky.stars import StarList
from stacker.register.sky.tracks import (
    FOCALS,
    REACHES_PX,
    Known,
    chain,
    distinct,
    know_again,
    more_than_chance,
    sightings_from,
    sightings_of,
)
from stacker.register.sky.turning import FreeTurns, SteadySky
from stacker.register.sky.turns import vector_of
from stacker.register.sky.verdict import LEAST_OWN


@dataclass(frozen=True, eq=False)
class Sky:
    """The sky of a burst, and where in it each frame looked.

    ``stars`` (S, 3) is the catalogue, as the reference's rays; ``known`` are the stars known
    again in each frame, ``own`` the frame's turn where the steady sky does not say it. A frame
    with neither a steady sky nor a turn of its own is lost.
    """

    model: SkyModel
    stars: Float64Array
    reference: int
    lists: Sequence[StarList]
    known: Sequence[Known | None]
    own: Sequence[OwnTurn | None]

    def turn(self, number: int) -> Float64Array | None:
        """Return the turn from the reference's rays to a frame's, None where it is lost."""
        if number == self.reference:
            return np.eye(3)
        own = self.own[number]
        if own is not None:
            return own.turn
        if self.model.steady:
            return np.asarray(self.model.found.turning.turns[number])
        return None


def clocks(
    starts_s: Sequence[float] | None, count: int, reference: int
) -> tuple[Float64Array, ...]:
    """Return the times (F,) from the reference's that a steady sky is tried with, in units of the
    mean interval: those told, and even ones, as stamps may be rounded to whole seconds."""
    even = np.arange(count, dtype=np.float64) - reference
    if starts_s is None or count < 2:
        return (even,)
    told = np.asarray(starts_s, np.float64)
    if not np.isfinite(told).all() or (np.diff(told) <= 0).any():
        return (even,)
    told = (told - told[reference]) * (count - 1) / (told[-1] - told[0])
    return (told,) if np.allclose(told, even, rtol=0, atol=1e-6) else (told, even)


def find_sky(
    moving: Sequence[StarList],
    lists: Sequence[StarList],
    size: tuple[int, int],
    reference: int,
    times: Sequence[Float64Array],
    focal_px: float | None,
) -> Sky:
    """Return the sky that explains the moving points of all frames.

    Parameters
    ----------
    moving : the points of each frame that do not stand still: the sky is found by these.
    lists : all points of each frame. Once the sky is known, stars are looked for among these:
        near the pole, what was taken for standing still depends on the errors of places, and the
        rest would say that the sky turns faster there.
    size : width and height of the pictures they were found in.
    times : clocks to try, each (F,) from the reference's on; see ``clocks``.
    focal_px : the focal length where it is told; the search also starts from usual ones.

    Raises
    ------
    BurstError
        No frame's stars could be found again in another.
    """
    chained = chain(moving, size, reference, times[0])
    if not chained.links:
        raise _nothing_matches()
    focals = [focal * max(size) for focal in FOCALS] + ([focal_px] if focal_px else [])
    prior = LensPrior.told(size, focal_px)
    sightings = sightings_of(chained, moving)
    steady_starts, own_starts = [], []
    for lens in (Lens(size, focal) for focal in focals):
        seen = chained.turns(lens, moving)
        steady_starts += [(lens, SteadySky(_mean_axis(seen, clock), clock)) for clock in times]
        own_starts.append((lens, _free_turns(seen, len(moving), reference)))
    model = first_model(sightings, steady_starts, prior)
    own = nearest_start(sightings, own_starts)
    sky = model.found.turning
    known: list[Known | None] = []
    annealed = ANNEALED_PX
    for reach in REACHES_PX:
        assert isinstance(sky, SteadySky)
        model = settle(sightings, model, sky, own, prior, reaches_px=annealed)
        if model.steady:
            sky = model.found.turning
        stars = distinct(model.found.stars, model.lens.focal_px)
        turns = chained.turns(model.lens, moving)
        known = []
        for number, points in enumerate(lists):
            guesses = [turns[number]] if number in turns else []
            if model.steady:
                guesses.insert(0, sky.turns[number])
            found = know_again(points, stars, model.lens, guesses, reach)
            known.append(found)
            if found and number != reference and _sure(found, points, stars, model.lens):
                turns[number] = _own(points, found, stars, model).turn
        own = model.lens, _free_turns(turns, len(lists), reference)
        sightings, annealed = sightings_from(known, lists), ()
    return _concluded(model, reference, lists, stars, known)


def _sure(found: Known, points: StarList, stars: Float64Array, lens: Lens) -> bool:
    """Whether a turn can be made from the stars that were known again."""
    return len(found) >= LEAST_OWN and more_than_chance(found, points, stars, lens)


def _own(points: StarList, found: Known, stars: Float64Array, model: SkyModel) -> OwnTurn:
    """Return the frame's own turn against the catalogue."""
    spread = stated_errors(points.error_px[found.own]) * model.found.scale
    place, directions = points.place[found.own], stars[found.which]
    return own_turn(place, directions, spread, model.lens, found.turn)


def _concluded(
    model: SkyModel,
    reference: int,
    lists: Sequence[StarList],
    stars: Float64Array,
    known: Sequence[Known | None],
) -> Sky:
    """Return the sky with turns of their own for the frames that need one and can have one."""
    own: list[OwnTurn | None] = []
    kept: list[Known | None] = []
    for number, (points, found) in enumerate(zip(lists, known, strict=True)):
        sure = found is not None and _sure(found, points, stars, model.lens)
        mine = _own(points, found, stars, model) if found is not None and sure else None
        if mine is not None and found is not None and model.steady:
            spread = stated_errors(points.error_px[found.own]) * model.found.scale
            there = points.place[found.own], stars[found.which], spread, model.lens
            lost = loss_of(*there, model.found.turning.turns[number])
            if number == reference or lost - mine.loss <= asked_for(3, len(found)):
                mine = None
        own.append(mine)
        kept.append(found if sure or model.steady else None)
    return Sky(model, stars, reference, lists, kept, own)


def _free_turns(turns: dict[int, Float64Array], count: int, reference: int) -> FreeTurns:
    """Return turns of all frames; those that have none look where the reference does."""
    filled = [turns.get(number, np.eye(3)) for number in range(count)]
    return FreeTurns(np.stack(filled), reference)


def _mean_axis(turns: dict[int, Float64Array], times: Float64Array) -> Float64Array:
    """Return the axis times rate that steps between neighbouring frames agree on, (3,)."""
    numbers = sorted(turns)
    speeds = [
        vector_of(turns[after] @ turns[before].T) / (times[after] - times[before])
        for before, after in pairwise(numbers)
    ]
    return np.asarray(np.median(speeds, axis=0))


def _nothing_matches() -> BurstError:
    return BurstError(
        "the burst",
        "no star of its reference could be found again in another frame",
        remedy="name another frame with --reference, or use the frames as they lie with "
        "--hold still",
        code="burst-stars-lost",
    )
