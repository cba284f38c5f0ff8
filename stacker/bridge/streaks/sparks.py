"""Who goes on as whom among the sparks of a shell, also where only one of two is found.

Sparks overlap near the place where they burst and cross others further out; of half of them
one frame shows no clear end. The shell's law tells where it must be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.match import Link
from stacker.bridge.streaks.shells import (
    BoolArray,
    Shell,
    Tips,
    agreeing,
    find_shells,
    radiate,
    tips_of,
)
from stacker.bridge.streaks.streak import End, FloatArray, Streak, measure_end
from stacker.light.encoding import LightArray

# what a pair of the law costs, and one of which an end is told by the law alone
COST, TOLD_COST = 1.0, 3.0
# a spark's colour is that of its shell's to this distance
SAME_COLOUR = 0.2
# it may be so many times as far from the middle of the rays as the farthest that bears it out
FARTHER = 1.2
# light that is told must be this share of that of the end that is seen, and so many times unrest
LEAST_SHARE, LEAST_TIMES = 0.3, 6.0
# what is measured of it, px and in widths
PIECE_PX, PIECE_WIDTHS = 6.0, 3.0


@dataclass
class Sparks:
    """Links of sparks through a gap, and streaks that were added to both frames for them."""

    links: list[Link] = field(default_factory=list)
    before: list[Streak] = field(default_factory=list)
    after: list[Streak] = field(default_factory=list)


def follow_sparks(
    frames: tuple[Sequence[Streak], Sequence[Streak]],
    lights: tuple[LightArray, LightArray],
    background: Background,
    exposed: tuple[Exposed, Exposed],
) -> Sparks:
    """Return what the shells seen on both sides of a gap tell.

    Parameters
    ----------
    frames : the streaks of the earlier and later frame.
    lights : the light of both.
    """
    one, two = frames
    found = Sparks()
    shells = find_shells(one, two, *exposed)
    if not shells:
        return found
    tips = (tips_of(one), tips_of(two))
    free = (np.ones(len(tips[0].place), bool), np.ones(len(tips[1].place), bool))
    for shell in shells:
        own = _own_tips(shell, tips, free)
        pairs = _pairs(shell, tips, own)
        for i, j in pairs.tolist():
            found.links.append(
                Link(int(tips[0].streak[i]), int(tips[0].end[i]),
                     int(tips[1].streak[j]), int(tips[1].end[j]), COST, shell=True)
            )  # fmt: skip
            # both ends of a streak that goes on are spoken for
            for side, number in ((0, i), (1, j)):
                free[side][tips[side].streak == tips[side].streak[number]] = False
        for side in (0, 1):
            _tell(shell, side, np.flatnonzero(own[side] & free[side]),
                  frames, tips[side], lights, background, found, free)  # fmt: skip
    return found


def _own_tips(
    shell: Shell, tips: tuple[Tips, Tips], free: tuple[BoolArray, BoolArray]
) -> tuple[BoolArray, BoolArray]:
    """Return which tips of both frames can be those of sparks of a shell."""
    own = []
    for side, sign in ((0, 1), (1, -1)):
        some, middle, borne = tips[side], shell.rays[side], shell.pairs[:, side]
        colour = np.median(some.colour[borne], axis=0)
        far = np.hypot(*(some.place - middle).T)
        own.append(
            free[side]
            & radiate(middle, some.place, sign * some.heading)
            & (np.linalg.norm(some.colour - colour, axis=1) < SAME_COLOUR)
            & (far < FARTHER * far[borne].max())
        )
    return own[0], own[1]


def _pairs(
    shell: Shell, tips: tuple[Tips, Tips], own: tuple[BoolArray, BoolArray]
) -> npt.NDArray[np.intp]:
    """Return the pairs (N, 2) of tips of sparks that go on as each other."""
    one, two = np.flatnonzero(own[0]), np.flatnonzero(own[1])
    i, j = (grid.ravel() for grid in np.meshgrid(one, two, indexing="ij"))
    p, q = tips[0].place[i], tips[1].place[j]
    return agreeing(i, j, p, q, shell.scale, shell.shift, 0.0)


def _tell(
    shell: Shell, side: int, numbers: npt.NDArray[np.intp],
    frames: tuple[Sequence[Streak], Sequence[Streak]], tips: Tips,
    lights: tuple[LightArray, LightArray], background: Background, found: Sparks,
    free: tuple[BoolArray, BoolArray],
) -> None:  # fmt: skip
    """Add the streaks of the other frame that tips of one frame lead to, and their links."""
    other = 1 - side
    there = (shell.carried if side == 0 else shell.back)(tips.place)
    for number in numbers.tolist():
        if not free[side][number]:
            continue
        streak, end = int(tips.streak[number]), int(tips.end[number])
        leading = frames[side][streak].ends[end]
        outward = there[number] - shell.rays[other]
        outward = outward / max(float(np.hypot(*outward)), 1e-6)
        # out of the streak: on before the gap, back after it
        heading = outward if other == 0 else -outward
        told = _told(there[number].astype(np.float32), heading.astype(np.float32), leading,
                     lights[other], background)  # fmt: skip
        if told is None:
            continue
        free[side][tips.streak == streak] = False
        if other == 0:
            found.before.append(told)
            at = (len(frames[0]) + len(found.before) - 1, 0, streak, end)
        else:
            found.after.append(told)
            at = (streak, end, len(frames[1]) + len(found.after) - 1, 0)
        found.links.append(Link(*at, TOLD_COST, shell=True))


def _told(
    place: FloatArray, heading: FloatArray, leading: End, light: LightArray, background: Background
) -> Streak | None:
    """Return the streak that ends at a place, heading out of it, or None without light."""
    streak = measure_end(place, heading, PIECE_PX + PIECE_WIDTHS * leading.width, leading.width,
                         light, background)  # fmt: skip
    if streak is None:
        return None
    x, y = np.rint(place).astype(int)
    unrest = float(background.unrest[y, x])
    seen = float(streak.ends[0].light.mean())
    if seen < max(LEAST_SHARE * float(leading.light.mean()), LEAST_TIMES * unrest):
        return None
    # among neighbours the light across tells no width
    end = replace(streak.ends[0], width=leading.width)
    return replace(streak, ends=(end, streak.ends[1]))
