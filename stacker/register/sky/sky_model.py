"""Which model of sky and lens explains the sightings: the simplest that leaves no pattern.

Models are compared by the Bayesian information criterion at one scale of errors, that of the
richer one: another unknown must earn the logarithm of the number of sightings.

Source: G. Schwarz, "Estimating the dimension of a model", Annals of Statistics 6 (1978),
doi:10.1214/aos/1176344136.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stacker.register.sky.adjust import (
    ANNEALED_PX,
    Adjusted,
    Sightings,
    adjust,
    losses,
    rests,
    stated_errors,
)
from stacker.register.sky.lens import Lens, LensPrior
from stacker.register.sky.own_turn import loss_of, own_turn
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.turning import FreeTurns, SteadySky, Turning

# Unknowns of the lens in the order in which they are tried: focal length; three radial terms, one
# after the other; where the axis meets the picture.
TERMS = ((0,), (1,), (2,), (3,), (4, 5))
# what an unknown must earn beyond the criterion: those of one star are not independent,
# as pixels and coding misplace it alike in frame after frame
MARGIN = 20.0
# Unknowns that explain less than this share of the scatter move a picture by less than a sixth of
# a star's error, and may as well follow what neighbours and coding do to faint stars.
LEAST_SHARE = 0.03
# frames that sky and lens are fitted to, spread over the burst, and the surest sightings in each:
# more cost time and add little
FITTED_FRAMES = 24
FITTED_STARS = 200
# error at which starts are compared, px
START_PX = 0.5
# starts that are followed to their end, the nearest first
STARTS = 3
# a steady sky is the model of a burst if no more than this share of its frames strays from it
STRAYED = 1 / 3
# Scatter, as a multiple of what the fits of stars say, from which on a steady sky is compared with
# turns that are free: a compromise between two views has a wide scatter, under which nothing
# strays. Stars alone scatter by 1 to 1.3.
SUSPECT = 1.6


@dataclass(frozen=True, eq=False)
class SkyModel:
    """How the sky went over a burst.

    ``found`` is the adjustment, whose ``stars`` are the catalogue; ``steady`` whether one turn at
    one rate explains it; ``free`` bool (6,) which unknowns of the lens were fitted.
    """

    found: Adjusted
    steady: bool
    free: BoolArray

    @property
    def lens(self) -> Lens:
        """The lens that was found."""
        return self.found.lens


def first_model(
    sightings: Sightings, starts: Sequence[tuple[Lens, SteadySky]], prior: LensPrior
) -> SkyModel:
    """Return the steady sky through a lens without faults that explains sightings best, from
    whichever start."""
    few = thinned(sightings, FITTED_FRAMES // 2)
    free = _free(1)
    spread = np.full(len(few.frame), START_PX)
    at_start = [losses(rests(few, lens, sky), spread).sum() for lens, sky in starts]
    nearest = [starts[number] for number in np.argsort(at_start, kind="stable")[:STARTS]]
    found = [adjust(few, lens, sky, free, prior=prior) for lens, sky in nearest]
    misfits = [losses(each.rest, spread).sum() for each in found]
    return SkyModel(found[int(np.argmin(misfits))], True, free)


def settle(
    sightings: Sightings, model: SkyModel, sky: SteadySky, own: tuple[Lens, FreeTurns],
    prior: LensPrior, *, reaches_px: tuple[float, ...] = ANNEALED_PX,
) -> SkyModel:  # fmt: skip
    """Return the model that the sightings ask for: steady or not, with as many terms of the lens.

    Parameters
    ----------
    model : what was found so far; its terms of the lens are kept.
    sky : where a steady sky starts.
    own : where turns of the frames' own start, and the lens that goes with them.
    reaches_px : how far starts may be off; see ``adjust``.
    """
    few = thinned(sightings, FITTED_FRAMES, own[1].fixed)
    # the terms of a model that did not hold are not those of the other
    kept = model.free if model.steady else _free(1)
    steady = _with_terms(few, model.lens, sky, kept, prior, reaches_px)
    if steady.found.scale < SUSPECT and _strayed(few, steady, own[1].turns) <= STRAYED:
        return steady
    kept = _free(1) if model.steady else model.free
    free = _with_terms(few, *own, kept, prior, reaches_px)
    spread = stated_errors(few.error_px) * free.found.scale
    gain = 2 * (losses(steady.found.rest, spread) - losses(free.found.rest, spread))
    strays = [
        float(gain[few.frame == number].sum()) > asked_for(3, int((few.frame == number).sum()))
        for number in np.unique(few.frame)
    ]
    return steady if np.mean(strays) <= STRAYED else free


def nearest_start(
    sightings: Sightings, starts: Sequence[tuple[Lens, FreeTurns]]
) -> tuple[Lens, FreeTurns]:
    """Return the lens, with the turns that frames have through it, that explains most."""
    spread = np.full(len(sightings.frame), START_PX)
    misfits = [losses(rests(sightings, lens, turning), spread).sum() for lens, turning in starts]
    return starts[int(np.argmin(misfits))]


def _with_terms(
    sightings: Sightings, lens: Lens, turning: Turning, at_least: BoolArray, prior: LensPrior,
    reaches_px: tuple[float, ...],
) -> SkyModel:  # fmt: skip
    """Return the model with as many terms of the lens as it asks for."""
    free = at_least
    found = adjust(sightings, lens, turning, free, prior=prior, reaches_px=reaches_px)
    for term in TERMS[1:]:
        before = term[0] - 1
        # a further radial term only after the one before; the axis only for a lens that bends
        if free[term[0]] or not (free[before] or (term == TERMS[-1] and free[1])):
            continue
        richer = free.copy()
        richer[list(term)] = True
        tried = adjust(sightings, found.lens, found.turning, richer, prior=prior, reaches_px=())
        asked = asked_for(len(term), len(sightings.frame))
        spread = stated_errors(sightings.error_px) * tried.scale
        gain = 2 * (losses(found.rest, spread).sum() - losses(tried.rest, spread).sum())
        if gain > asked:
            found, free = tried, richer
    return SkyModel(found, isinstance(turning, SteadySky), free)


def _free(count: int) -> BoolArray:
    free = np.zeros(6, bool)
    for term in TERMS[:count]:
        free[list(term)] = True
    return free


def _strayed(sightings: Sightings, steady: SkyModel, turns: Float64Array) -> float:
    """Return the share of frames that turns of their own explain better by the criterion.

    ``turns`` (F, 3, 3) is where those are looked for, besides the steady ones.
    """
    found, lens = steady.found, steady.lens
    spread = stated_errors(sightings.error_px) * found.scale
    strays = []
    for number in np.unique(sightings.frame):
        own = sightings.frame == number
        turn = found.turning.turns[number]
        there = (sightings.place[own], found.stars[sightings.star[own]], spread[own], lens)
        own_loss = min(own_turn(*there, start).loss for start in (turn, turns[number]))
        gain = loss_of(*there, turn) - own_loss
        strays.append(gain > asked_for(3, int(own.sum())))
    return float(np.mean(strays))


def asked_for(unknowns: int, count: int) -> float:
    """Return how much less the robust squares of ``count`` sightings must sum up to before they
    are given so many further unknowns."""
    criterion = unknowns * np.log(2 * max(count, 1)) + MARGIN
    return float(max(criterion, LEAST_SHARE * 2 * count))


def thinned(sightings: Sightings, most: int, always: int | None = None) -> Sightings:
    """Return the surest sightings in at most ``most`` frames, spread evenly, with one that is
    always."""
    frames = np.unique(sightings.frame)
    if len(frames) > most:
        frames = frames[np.unique(np.linspace(0, len(frames) - 1, most).round().astype(int))]
        if always is not None:
            frames = np.union1d(frames, [always])
    # the rank of each sighting in its frame, by its error
    order = np.lexsort((sightings.error_px, sightings.frame))
    first = np.searchsorted(sightings.frame[order], sightings.frame[order], side="left")
    rank = np.empty(len(order), int)
    rank[order] = np.arange(len(order)) - first
    return sightings.chosen(np.isin(sightings.frame, frames) & (rank < FITTED_STARS))
