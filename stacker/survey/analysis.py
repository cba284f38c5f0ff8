"""Everything that is compared pixel by pixel: what moves, how fast, and what the burst is of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from stacker.errors import BurstError
from stacker.register import BurstMotion, register_sky
from stacker.survey.brightness import Brightness
from stacker.survey.followed import what_is_followed
from stacker.survey.held import RootArray, Source, held_source, roots_of
from stacker.survey.movers import (
    LEAST_SEEN,
    LONG_SIDE,
    SIGMAS,
    Movers,
    chosen_frames,
    find_movers,
)
from stacker.survey.passing import Passing, find_passing
from stacker.survey.shake import Stand, place_of, places_of, straightness
from stacker.survey.soft_light import Veil, aside_of
from stacker.survey.speed import MOST_PAIRS, Speed, measure_speed
from stacker.survey.subject import NIGHT, STAR_PARTS, STAR_VARIES, Subject, clouds_or, name_subject
from stacker.survey.traits import Traits, traits_of

# frames in which the sky is looked for
SKY_FRAMES = 12
# degrees a second that the sky turns, with room for wrong clocks and bent pictures
FASTEST_SKY = 1.5 * 15.041 / 3600
# a pan's way is as straight as this
STRAIGHT = 0.6


@dataclass(frozen=True, eq=False)
class Analysis:
    """What moves in a burst, what it is of, and what passes that is not the subject."""

    movers: Movers
    traits: Traits
    speed: Speed
    subject: Subject
    followed: tuple[int, int, int, int] | None
    passing: Passing


def analyse(
    source: Source,
    motion: BurstMotion | None,
    light: Brightness,
    *,
    starts_s: Sequence[float],
    elapsed_s: float,
    size: tuple[int, int],
    factor: int,
    stand: Stand,
    weights: tuple[float, float, float],
) -> Analysis | None:
    """Return what moves; None where too few frames can be compared.

    Parameters
    ----------
    source : returns the light of frame ``index``, float32 (h, w, 3), reduced by ``factor``.
    motion : where the frames looked; None where they cannot be held to one view.
    light : how bright they are.
    starts_s : when each opened.
    size : (width, height) of a whole frame.
    weights : the share of each channel in the luminance.
    """
    odd = {*light.black, *light.flashed}
    good = [
        index
        for index in range(len(starts_s))
        if index not in odd and (motion is None or motion.frames[index].used)
    ]
    numbers = chosen_frames(good)
    if len(numbers) < 2:
        return None
    held = held_source(source, motion, factor)
    roots, reduced = roots_of(held, numbers, light.stops, LONG_SIDE)
    scale = float(factor * reduced)
    resampled = motion is not None and not motion.is_still
    movers = find_movers(roots, scale, resampled=resampled)
    if movers is None:
        return None
    passing = Passing()
    if stand not in ("unknown", "moving"):
        frames: Iterable[tuple[int, RootArray]] = zip(numbers, roots, strict=True)
        if len(numbers) < len(good):
            frames = ((i, roots_of(held, [i], light.stops, LONG_SIDE)[0][0]) for i in good)
        passing = find_passing(frames, good, movers, np.median(roots, axis=0))
    traits = _traits(roots, numbers, movers, passing)
    followed = None
    way = [] if motion is None else places_of(motion, size)
    if stand == "unknown" or (stand == "moving" and straightness(way) > STRAIGHT):
        as_it_lies, _ = roots_of(source, numbers, light.stops, LONG_SIDE)
        followed = what_is_followed(np.nan_to_num(as_it_lies), scale)
    speed = _speed(held, good, light, movers, starts_s, scale)
    turn = None
    # lamps before a camera that moves go together too
    starry = traits.lit_parts >= STAR_PARTS / 2 and traits.lit_varies < STAR_VARIES
    if traits.light < NIGHT and starry and stand not in ("handheld", "moving"):
        turn = _sky_turn(source, chosen_frames(good, SKY_FRAMES), starts_s, size, factor, weights)
        # what turns faster than the sky is none, unless the clock is wrong
        if turn is not None and turn > FASTEST_SKY * elapsed_s:
            turn = None
    subject = name_subject(
        traits,
        speed,
        stand,
        turn_deg=turn,
        follows=followed,
        drift_stops=light.drift_stops,
        elapsed_s=elapsed_s,
        long_side=max(size),
    )
    if passing.veil is not None and traits.light >= NIGHT:
        subject = clouds_or(subject, passing.veil, _inside(movers, passing.veil))
    return Analysis(movers, traits, speed, subject, followed, passing.but(subject.name))


def _traits(roots: RootArray, numbers: Sequence[int], movers: Movers, passing: Passing) -> Traits:
    """Return the traits without what passes, which would hide what the burst is of."""
    lit = {each.index for each in passing.lit}
    left = [number not in lit for number in numbers]
    aside = None if passing.veil is None else aside_of(passing.veil, movers.still.shape)
    return traits_of(roots[left], movers, aside)


def _inside(movers: Movers, veil: Veil) -> float:
    """Return the share of all that moves that lies in the box about a veil."""
    touched = movers.cover > 0
    x, y, width, height = (round(each / movers.scale) for each in veil.box)
    return float(touched[y : y + height, x : x + width].sum()) / max(1, int(touched.sum()))


def _speed(
    held: Source,
    good: Sequence[int],
    light: Brightness,
    movers: Movers,
    starts_s: Sequence[float],
    scale: float,
) -> Speed:
    """Return how fast things move, from pairs of neighbours."""
    usable = set(good)
    firsts = chosen_frames([index for index in good if index + 1 in usable], MOST_PAIRS)
    pairs, steps = [], []
    for first in firsts:
        both, _ = roots_of(held, [first, first + 1], light.stops, LONG_SIDE)
        pairs.append((both[0], both[1]))
        steps.append(starts_s[first + 1] - starts_s[first])
    limit = max(SIGMAS * movers.noise, LEAST_SEEN)
    return measure_speed(pairs, movers.still, limit, steps, scale)


def _sky_turn(
    source: Source,
    numbers: Sequence[int],
    starts_s: Sequence[float],
    size: tuple[int, int],
    factor: int,
    weights: tuple[float, float, float],
) -> float | None:
    """Return by how many degrees the stars turned from first to last; None where there are none."""
    try:
        sky = register_sky(
            lambda index: source(numbers[index]),
            len(numbers),
            size=size,
            factor=factor,
            starts_s=[starts_s[number] for number in numbers],
            weights=weights,
        )
    except BurstError:
        return None
    turns = [place_of(f.to_reference, size).turn_deg for f in sky.frames if f.used]
    return math.fabs(max(turns) - min(turns))
