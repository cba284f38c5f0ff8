"""Planes and meteors: what goes on into the next frame or out of the picture, and what does not.

Planes and satellites take longer than one exposure to cross the sky: their streaks run into the
border, or go on in the frames before and after. What begins and ends within one frame, under open
sky, shone up and went out: a meteor.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Exposed
from stacker.bridge.planes.streak import PassingStreak

BoolArray = npt.NDArray[np.bool_]
FloatArray = npt.NDArray[np.float32]

# an end that lies so near to where the sky ends may have come from behind, px of the copy
BORDER_PX = 16.0
# a streak goes on in its direction within this angle; beside it by so much of the way, and px
TURNED, ASIDE_SHARE, ASIDE_PX = np.radians(12), 0.12, 6.0
# how much sooner than its speed says it may go on, in lengths of the longer streak, and px; a cloud
# may hide it for as long as it took for that length
SOONER, SOONER_PX, HIDDEN = 0.3, 24.0, 1.0
# frames later in which a streak may go on: one may lie under a cloud
AHEAD = 2


def judged(
    found: Sequence[Sequence[PassingStreak]],
    exposed: Sequence[Exposed],
    region: BoolArray,
    factor: int,
) -> list[list[PassingStreak]]:
    """Return the streaks of each frame with their kind, and which of them belong together.

    Parameters
    ----------
    region : where there is sky, bool (h, w), on a copy smaller by ``factor``.
    """
    inside = np.pad(region, 1).astype(np.uint8)
    whole = cv2.distanceTransform(inside, cv2.DIST_L2, cv2.DIST_MASK_5)
    away = np.asarray(whole[1:-1, 1:-1], np.float32)
    names = _passages(found, exposed, factor)
    frames: dict[int, int] = {}
    for each in names:
        for name in set(each):
            frames[name] = frames.get(name, 0) + 1
    return [
        [
            replace(
                streak,
                passage=name,
                kind="plane" if frames[name] > 1 or _leaves(streak, away, factor) else "meteor",
            )
            for streak, name in zip(streaks, own, strict=True)
        ]
        for streaks, own in zip(found, names, strict=True)
    ]


def _passages(
    found: Sequence[Sequence[PassingStreak]], exposed: Sequence[Exposed], factor: int
) -> list[list[int]]:
    """Return a number for each streak, the same for those that go on in each other."""
    each = [(number, k) for number, streaks in enumerate(found) for k in range(len(streaks))]
    leader = dict(zip(each, each, strict=True))

    def led(one: tuple[int, int]) -> tuple[int, int]:
        while leader[one] != one:
            one = leader[one]
        return one

    for number, mine in each:
        # pieces of one streak go on in each other too
        for later in range(number, min(number + AHEAD + 1, len(found))):
            for theirs in range(mine + 1 if later == number else 0, len(found[later])):
                streak, other = found[number][mine], found[later][theirs]
                if goes_on(streak, other, exposed[number], exposed[later], factor):
                    one, two = sorted((led((number, mine)), led((later, theirs))))
                    leader[two] = one
    order = {name: k for k, name in enumerate(sorted({led(one) for one in each}))}
    return [[order[led((n, k))] for k in range(len(streaks))] for n, streaks in enumerate(found)]


def _leaves(streak: PassingStreak, away: FloatArray, factor: int) -> bool:
    """Return whether an end of a streak lies where the sky ends."""
    size = np.array(away.shape[::-1])
    for end in streak.ends:
        x, y = np.clip(np.rint(end / factor), 0, size - 1).astype(int)
        if away[y, x] < BORDER_PX:
            return True
    return False


def goes_on(
    streak: PassingStreak, other: PassingStreak, when: Exposed, later: Exposed, factor: int
) -> bool:
    """Return whether a streak of a later frame may be of the same light."""
    gap = max(later.start_s - when.end_s, 0.0)
    longer = max(streak.length_px, other.length_px)
    expected = longer / max(when.shutter_s, 1e-9) * gap
    least = expected - SOONER * longer - SOONER_PX * factor
    most = expected + HIDDEN * longer + SOONER_PX * factor
    for leaving in (0, 1):
        out = streak.outward(leaving)
        for entering in (0, 1):
            inward = -other.outward(entering)
            if float(out @ inward) < np.cos(TURNED):
                continue
            way = other.ends[entering] - streak.ends[leaving]
            along = float(way @ out)
            aside = abs(float(way[0] * out[1] - way[1] * out[0]))
            near = aside < ASIDE_PX * factor + ASIDE_SHARE * abs(along)
            if near and least < along < most:
                return True
    return False
