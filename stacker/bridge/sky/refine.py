"""A second look at a few frames: how stars are drawn, and where exactly they stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from stacker.bridge.base import LightOf
from stacker.bridge.sky.known import KnownSky, blocks
from stacker.bridge.sky.profile import Lessons, Profiles
from stacker.bridge.sky.strength import Samples, Strengths, measured
from stacker.bridge.sky.ways import Turn
from stacker.register.sky.points import Float64Array

# frames looked at, spread over the burst
FRAMES = 5
# certainty of stars that profiles are learnt from
BRIGHT = 25.0
# a trail that the profile fits worse than this, as a share of its height, teaches nothing
POOR = 0.3
# how sure the place of a star is before, as a certainty: 0.3 px
SURE_BEFORE = 3.0


def refined(frames: LightOf, sky: KnownSky) -> KnownSky:
    """Return the sky with profiles learnt from its bright stars and with better places."""
    known = [number for number, step in enumerate(sky.steps) if step is not None]
    if not known or len(sky.stars) == 0:
        return sky
    chosen = np.unique(np.linspace(0, len(known) - 1, min(FRAMES, len(known))).round().astype(int))
    numbers = [known[place] for place in chosen]
    # from one frame at first, as the fits that teach the profile need one themselves
    first = numbers[len(numbers) // 2]
    sky = replace(sky, profiles=_looked_at(frames, sky, [first])[0])
    profiles, stars = _looked_at(frames, sky, numbers)
    return replace(sky, profiles=profiles, stars=stars)


def _looked_at(
    frames: LightOf, sky: KnownSky, numbers: Sequence[int]
) -> tuple[Profiles, Float64Array]:
    """Return the profiles that some frames teach, and the places of the stars in them."""
    lessons = Lessons(sky.profiles)
    total = sky.stars * SURE_BEFORE**2
    for number in numbers:
        light, turn = frames(number), sky.turn(number)
        assert turn is not None
        half = sky.halves[number][0]
        for stars in blocks(sky.in_sight(turn)):
            rays = sky.stars[stars]
            strengths, samples = measured(
                light, sky.still, turn, -half, half, rays, sky.profiles, sky.weights
            )
            _teach(lessons, sky.profiles, strengths, samples, turn.place(rays, np.zeros(len(rays))))
            total[stars] += _seen_at(turn, rays, strengths, half)
    return lessons.profiles(), total / np.linalg.norm(total, axis=1, keepdims=True)


def _teach(
    lessons: Lessons, profiles: Profiles, strengths: Strengths, samples: Samples,
    place: Float64Array,
) -> None:  # fmt: skip
    """Add the samples of the bright stars among some to what is learnt."""
    bright = (strengths.certainty > BRIGHT) & ~strengths.burnt & (strengths.misfit < POOR)
    part = profiles.part(place)
    lessons.count(part[bright])
    strip = samples.strip
    teaching = bright[strip.star] & (samples.weight > 0) & (samples.share > 0.5)
    star = strip.star[teaching]
    full = strengths.height[star] * samples.share[teaching]
    lessons.add(
        part[star],
        strip.across[teaching] - strengths.shift[star].astype(np.float32),
        (samples.grey[teaching] - strengths.grey_ground[star]) / full,
        (full / strengths.noise[star]) ** 2,
    )


def _seen_at(
    turn: Turn, stars: Float64Array, strengths: Strengths, half: float
) -> Float64Array:  # fmt: skip
    """Return directions (N, 3) of where stars were seen, as long as that is sure."""
    count = len(stars)
    middle = turn.place(stars, np.zeros(count))
    way = turn.place(stars, np.full(count, half)) - turn.place(stars, np.full(count, -half))
    unit = way / np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-6)
    side = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    seen = turn.lens.rays(middle + strengths.shift[:, None] * side) @ turn.start
    # one bright star counts no more than a few faint ones would: its neighbours misplace it too
    return np.asarray(seen * np.minimum(strengths.certainty, 30.0)[:, None] ** 2)
