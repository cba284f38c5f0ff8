"""Following each star through the burst: from frame to frame at first, by a known sky later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from stacker.register.sky.adjust import Sightings
from stacker.register.sky.lens import Lens
from stacker.register.sky.match import Matched, is_believable, match, robust_turn
from stacker.register.sky.nearness import pairs_within
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray, StarList
from stacker.register.sky.turns import turn_about, vector_of

# Focal lengths tried where none is known, in widths of the longer side: from a very wide lens to
# a tele, near enough to each other for neighbouring frames to be matched.
FOCALS = (0.45, 0.7, 1.1, 1.8, 3.0, 6.0)
# reach about the place where a known sky puts a star, px: one round of the search each, as the
# lens becomes known
REACHES_PX = (3.0, 1.5, 1.5)
# two stars of the catalogue nearer than this are one that was lost and found again
SAME_STAR_PX = 1.0


@dataclass(frozen=True, eq=False)
class Chain:
    """Frames linked by their stars, outward from the reference.

    ``links`` are (frame before, frame, which stars are the same); ``star`` holds for each linked
    frame the number of each of its stars in the whole burst.
    """

    reference: int
    links: Sequence[tuple[int, int, Matched]]
    star: dict[int, IntArray]

    def turns(self, lens: Lens, lists: Sequence[StarList]) -> dict[int, Float64Array]:
        """Return the turn from the reference's rays to each linked frame's, seen by ``lens``."""
        turns = {self.reference: np.eye(3)}
        for before, frame, link in self.links:
            rays = lens.rays(lists[before].place[link.one])
            others = lens.rays(lists[frame].place[link.two])
            turns[frame] = robust_turn(rays, others, lens.focal_px) @ turns[before]
        return turns


def chain(
    lists: Sequence[StarList], size: tuple[int, int], reference: int, times: Float64Array
) -> Chain:
    """Return the frames whose stars could be followed from the reference on.

    ``times`` (F,) say how far frames lie apart, in any unit.
    """
    lenses = [Lens(size, focal * max(size)) for focal in FOCALS]
    star = {reference: np.arange(len(lists[reference]))}
    count = len(lists[reference])
    links: list[tuple[int, int, Matched]] = []
    for side in (range(reference + 1, len(lists)), range(reference - 1, -1, -1)):
        last, speed, known = reference, np.zeros(3), list(lenses)
        for number in side:
            step = times[number] - times[last]
            guesses = [turn_about(speed * step), np.eye(3)]
            found = match(lists[last], lists[number], known, guesses)
            if found is None and last != reference:
                found = match(lists[reference], lists[number], lenses, [])
                if found is not None:
                    last = reference
            if found is None:
                continue
            matched, lens = found
            speed = vector_of(matched.turn) / (times[number] - times[last])
            # the lens that knew most stars again goes first, so that it wins where all do
            known = [lens, *(other for other in lenses if other is not lens)]
            links.append((last, number, matched))
            numbers = np.full(len(lists[number]), -1)
            numbers[matched.two] = star[last][matched.one]
            new = numbers < 0
            numbers[new] = count + np.arange(new.sum())
            count += int(new.sum())
            star[number] = numbers
            last = number
    return Chain(reference, links, star)


def sightings_of(chained: Chain, lists: Sequence[StarList]) -> Sightings:
    """Return the sightings of all stars that were seen in two linked frames at least."""
    frames = sorted(chained.star)
    return _sightings(
        [(number, np.arange(len(lists[number])), chained.star[number]) for number in frames], lists
    )


@dataclass(frozen=True, eq=False)
class Known:
    """Stars of a catalogue known again in a frame: ``which`` of the catalogue are ``own`` of the
    frame's list, about where ``turn`` puts them."""

    which: IntArray
    own: IntArray
    turn: Float64Array

    def __len__(self) -> int:
        return len(self.own)


def know_again(
    points: StarList,
    stars: Float64Array,
    lens: Lens,
    guesses: Sequence[Float64Array],
    reach_px: float,
) -> Known | None:
    """Return the stars (S, 3) of a catalogue that a frame shows where one of the guesses puts
    them, the guess with most; None where there is no guess."""
    best: Known | None = None
    for turn in guesses:
        which, own = pairs_within(lens.project(stars @ turn.T), points.place, reach_px)
        if best is None or len(own) > len(best):
            best = Known(which, own, turn)
    return best


def more_than_chance(known: Known, points: StarList, stars: Float64Array, lens: Lens) -> bool:
    """Whether a frame shows more of a catalogue than chance would put in the same places."""
    inside = int(visible(stars, lens, known.turn).sum())
    return is_believable(len(known), inside, len(points), lens, trials=1)


def visible(stars: Float64Array, lens: Lens, turn: Float64Array) -> BoolArray:
    """Return which stars (S, 3) lie within a frame, bool (S,)."""
    place = lens.project(stars @ turn.T)
    return np.asarray(((place >= 0) & (place <= np.array(lens.size) - 1)).all(axis=1))


def sightings_from(known: Sequence[Known | None], lists: Sequence[StarList]) -> Sightings:
    """Return the sightings of stars known again in two frames at least."""
    return _sightings(
        [
            (number, each.own, each.which)
            for number, each in enumerate(known)
            if each is not None and len(each)
        ],
        lists,
    )


def _sightings(
    seen: Sequence[tuple[int, IntArray, IntArray]], lists: Sequence[StarList]
) -> Sightings:
    """Return sightings from (frame, numbers in its list, numbers of the stars)."""
    frame = np.concatenate([np.full(len(own), number) for number, own, _ in seen])
    star = np.concatenate([which for _, _, which in seen])
    place = np.concatenate([lists[number].place[own] for number, own, _ in seen])
    error = np.concatenate([lists[number].error_px[own] for number, own, _ in seen])
    order = np.argsort(star, kind="stable")
    whole = Sightings(frame[order], star[order], place[order], error[order])
    return whole.chosen(np.ones(len(order), bool))


def distinct(stars: Float64Array, focal_px: float) -> Float64Array:
    """Return the stars (S, 3) without those that an earlier one is the same as."""
    if len(stars) < 2:
        return stars
    scaled = (stars * focal_px).astype(np.float32)
    _, number = cv2.batchDistance(scaled, scaled, cv2.CV_32F, K=2, normType=cv2.NORM_L2)
    own = np.arange(len(stars))
    other = np.where(number[:, 0] == own, number[:, 1], number[:, 0])
    gap = np.linalg.norm(stars[other] - stars, axis=1) * focal_px
    return np.asarray(stars[(gap > SAME_STAR_PX) | (other > own)])
