"""Where one frame looked, held against the reference: guesses, a vote, then the fine fit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from stacker.register.geometry import Motion, compose, grid_of, identity, invert, rms_difference
from stacker.register.scene.agreement import Agreement, agreement, chance_of
from stacker.register.scene.align import Fit, Stage, align
from stacker.register.scene.consensus import FAR, NEAR, Consensus, consensus
from stacker.register.scene.grey import Grey
from stacker.register.scene.hypotheses import (
    Corners,
    by_corners,
    by_correlation,
    by_features,
    find_corners,
)
from stacker.register.scene.models import HOMOGRAPHY, SIMILARITY, Frame
from stacker.register.scene.tiles import (
    COARSE_TILE_PX,
    NOISY_SIGNAL,
    NOISY_STRONGEST,
    STRONGEST,
    TILE_PX,
    Tiles,
    cut_tiles,
)

# guesses nearer to each other than this, in pixels of the coarsest level, are one
SAME_PX = 1.0
# agreement from which on no other guess is asked
SURE = 0.4
# ... and below which the dearest guesses are asked
DOUBTFUL = 0.1
# Agreement that a frame needs, how far above what accident gives in this picture, and where there
# are few tiles in all: a fit makes the best of accidents.
LEAST_AGREEMENT = 0.07
OVER_CHANCE = 0.12
FEW_TILES = 1.5
# fewer textured tiles than this say nothing
LEAST_TILES = 8
# Where a smaller share of the tiles agrees with the fine fit, each tile is asked by itself.
DISPUTED = 0.42
# a fit no further than this from what single tiles say, px, needs no other
CONFIRMED_PX = 0.1
# ... and where so few agree, nothing but many single tiles makes a frame believed
DOUBTED = 0.15
# from where that leads, pixels are wished to end as near as from anywhere
FROM_CONSENSUS = (Stage(0, 7, 1.0, 0.05),)
# so often at most, and while so much more of the tiles agree with each fit than with the last
ROUNDS = 4
GROWS = 1.03
# how many guesses are polished before they are judged, best first
POLISHED = 2


@dataclass(frozen=True, eq=False)
class Reference:
    """The frame that others are held against, prepared once."""

    grey: Grey
    tiles: dict[int, Tiles]
    geometry: Frame
    chance: float

    @property
    def coarsest(self) -> int:
        """The number of the coarsest level."""
        return len(self.grey.levels) - 1

    @property
    def least_agreement(self) -> float:
        """The agreement that a frame needs: more than accident gives, also among few tiles."""
        few = FEW_TILES / np.sqrt(max(1, self.tiles[self.coarsest].count))
        return max(self.least_if_sure, float(few))

    @property
    def least_if_sure(self) -> float:
        """The agreement that is needed where tiles asked one by one are sure of the motion."""
        beyond = min(2 * self.chance, self.chance + OVER_CHANCE)
        return float(max(LEAST_AGREEMENT, beyond))

    @cached_property
    def corners(self) -> Corners:
        """Corners of the reference, to be tracked."""
        return find_corners(self.grey)

    @property
    def has_texture(self) -> bool:
        """Whether there is enough to hold on to."""
        return self.tiles[self.coarsest].count >= LEAST_TILES


def prepare(grey: Grey) -> Reference:
    """Return a frame made ready to hold others against."""
    coarsest = len(grey.levels) - 1
    tiles = {
        level: cut_tiles(grey, level, side=TILE_PX, strongest=STRONGEST)
        for level in range(coarsest)
    }
    tiles[coarsest] = cut_tiles(
        grey, coarsest, side=COARSE_TILE_PX, strongest=COARSE_TILE_PX * COARSE_TILE_PX
    )
    if coarsest and tiles[0].count and np.median(tiles[0].signal) < NOISY_SIGNAL:
        tiles[0] = cut_tiles(grey, 0, side=TILE_PX, strongest=NOISY_STRONGEST)
    return Reference(grey, tiles, Frame(grey.size), chance_of(tiles[coarsest], grey))


@dataclass(frozen=True, eq=False)
class Estimate:
    """Where a frame looked: the fit, and how much of the picture agrees with it.

    ``sure`` is whether tiles asked one by one settled it; None where there was no need to ask, or
    nothing to be had by it. ``confirmed``: another frame leads to the same place.
    """

    fit: Fit
    agreement: Agreement
    sure: bool | None = None
    confirmed: bool = False

    @property
    def to_frame(self) -> Motion:
        """The motion from the reference's copy to the frame's, (3, 3)."""
        return self.fit.to_frame


def estimate(
    reference: Reference, frame: Grey, guesses: list[Motion], previous: tuple[Grey, Motion] | None
) -> Estimate:
    """Return where ``frame`` looked.

    Parameters
    ----------
    guesses : motions from the reference to the frame that are likely, such as the last frame's.
    previous : a frame seen just before, and the motion from the reference to it.
    """
    best = _coarse(reference, frame, guesses, previous)
    fit = align(
        reference.tiles, frame, best, HOMOGRAPHY, _fine_stages(reference), reference.geometry
    )
    sure = None
    if fit.agreeing < DISPUTED:
        fit, sure = _settled(reference, frame, [best, *guesses], fit)
    found = agreement(reference.tiles[reference.coarsest], frame, fit.to_frame)
    return Estimate(fit, found, sure)


def estimate_near(reference: Reference, frame: Grey, guess: Motion) -> Estimate:
    """Return where ``frame`` looked, from a guess that is right to a few pixels."""
    fit = align(reference.tiles, frame, guess, HOMOGRAPHY, FROM_CONSENSUS, reference.geometry)
    fit, sure = _settled(reference, frame, [guess], fit)
    found = agreement(reference.tiles[reference.coarsest], frame, fit.to_frame)
    return Estimate(fit, found, sure)


def _settled(
    reference: Reference, frame: Grey, guesses: list[Motion], fit: Fit
) -> tuple[Fit, bool | None]:
    """Return the better of a disputed fit and what single tiles say, and whether they are sure.

    The first of the guesses is looked about narrowly, the last widely.
    """
    asked = [(guesses[0], NEAR), *((guess, FAR) for guess in guesses[1:][-1:])]
    for start, reach in asked:
        sure = False
        for _ in range(ROUNDS):
            found = _asked(reference, frame, start, reach)
            if found is None:
                break
            sure = found.sure
            apart = rms_difference(found.to_frame, fit.to_frame, grid_of(reference.grey.size))
            if sure and apart < CONFIRMED_PX:
                return fit, True
            other = align(
                reference.tiles, frame, found.to_frame, HOMOGRAPHY, FROM_CONSENSUS,
                reference.geometry,
            )  # fmt: skip
            if other.weight.sum() <= GROWS * fit.weight.sum():
                break
            # nearer to the truth more of the tiles are found
            fit, start, reach = other, other.to_frame, NEAR
        if sure:
            return fit, True
    found = _asked(reference, frame, fit.to_frame, NEAR)
    if found is None or (not found.sure and fit.agreeing > DOUBTED):
        return fit, None
    return fit, found.sure


def _asked(reference: Reference, frame: Grey, guess: Motion, reach: int) -> Consensus | None:
    return consensus(reference.grey, reference.tiles[0], frame, guess, reference.geometry, reach)


def _fine_stages(reference: Reference) -> tuple[Stage, ...]:
    stages = []
    if reference.coarsest > 0:
        stages.append(Stage(reference.coarsest, 3, 2.0, 1.0))
    if reference.coarsest > 1:
        stages.append(Stage(1, 4, 1.0, 0.3))
    stages.append(Stage(0, 5, 0.4, 0.05))
    return tuple(stages)


class _Ballot:
    """Guesses polished and judged; keeps the best."""

    def __init__(self, reference: Reference, frame: Grey) -> None:
        self.reference, self.frame = reference, frame
        self.seen: list[Motion] = []
        self.best, self.share = identity(), -1.0
        self.points = grid_of(reference.grey.size, 4)
        self.same_px = SAME_PX * 2**reference.coarsest

    def ask(self, guesses: list[Motion], most: int) -> None:
        """Polish the ``most`` likeliest of the guesses and keep the best of all so far."""
        tiles = self.reference.tiles[self.reference.coarsest]
        fresh: list[tuple[float, int, Motion]] = []
        for guess in guesses:
            if any(rms_difference(guess, old, self.points) < self.same_px for old in self.seen):
                continue
            self.seen.append(guess)
            fresh.append((agreement(tiles, self.frame, guess).share, -len(fresh), guess))
        for _, _, guess in sorted(fresh, key=lambda item: item[:2], reverse=True)[:most]:
            self._polish(guess)
            if self.share >= SURE:
                return

    def _polish(self, guess: Motion) -> None:
        level = self.reference.coarsest
        reach = 2.0**level
        stages = (Stage(level, 6, reach, reach / 2),)
        tiles = self.reference.tiles
        fit = align(tiles, self.frame, guess, SIMILARITY, stages, self.reference.geometry)
        share = agreement(tiles[level], self.frame, fit.to_frame).share
        if share > self.share:
            self.best, self.share = fit.to_frame, share


def _coarse(
    reference: Reference, frame: Grey, guesses: list[Motion], previous: tuple[Grey, Motion] | None
) -> Motion:
    """Return the similarity that most of the picture agrees with."""
    ballot = _Ballot(reference, frame)
    ballot.ask([*guesses, identity(), by_correlation(reference.grey, frame)], POLISHED)
    if ballot.share >= SURE:
        return ballot.best
    tracked = [by_corners(reference.corners, reference.grey, frame, ballot.best, identity())]
    if previous is not None:
        grey, to_previous = previous
        onward = compose(ballot.best, invert(to_previous))
        tracked.append(by_corners(find_corners(grey), grey, frame, onward, to_previous))
    ballot.ask([guess for guess in tracked if guess is not None], POLISHED)
    if ballot.share < DOUBTFUL:
        matched = by_features(reference.grey, frame)
        ballot.ask([] if matched is None else [matched], 1)
    return ballot.best
