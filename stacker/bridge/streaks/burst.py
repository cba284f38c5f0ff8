"""A burst's moving lamps: looked at frame by frame, linked over the gaps, painted gap by gap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from stacker.bridge.base import Exposed, GapVerdict, Joins, LightOf, Patch
from stacker.bridge.streaks.background import Background, still_background
from stacker.bridge.streaks.canvas import Canvas, alone
from stacker.bridge.streaks.detect import find_streaks
from stacker.bridge.streaks.follow import followed
from stacker.bridge.streaks.lit import LitShell, lit_shells, patch_of, without_known
from stacker.bridge.streaks.match import Link, link_all, links_of
from stacker.bridge.streaks.spared import (
    SkyTurn,
    stars_ridges,
    without_dashes,
    without_stars,
)
from stacker.bridge.streaks.sparks import follow_sparks
from stacker.bridge.streaks.streak import Streak
from stacker.bridge.streaks.sweep import Section, section_of, share_light, sweep
from stacker.light.encoding import LightArray

# so many in one frame are the edges of all that moves, as by day, where no lamp stands out
MOST_STREAKS = 1000
# where so many streaks go on by themselves, and this share of them, no shell is looked for: that
# takes most of the time of a night full of stars
MANY_STREAKS, MOST_GO_ON = 60, 0.75
EVERYWHERE = "so much moves that no lamp can be told by its streak"


@dataclass(frozen=True, eq=False)
class StreakBridge:
    """What is known of a burst's moving lamps. Made by ``bridge_streaks``."""

    joins: ClassVar[Joins] = "greater"

    gaps: tuple[GapVerdict, ...]
    links: tuple[tuple[Link, ...], ...]
    streaks: tuple[tuple[Streak, ...], ...]
    background: Background | None
    shells: tuple[tuple[LitShell, ...], ...] = ()

    def between(self, number: int, earlier: LightArray, later: LightArray) -> list[Patch]:
        """Return the light of lamps that moved between the frames ``number`` and ``number + 1``.

        Parameters
        ----------
        number : of the earlier frame among those used, from 0 on.
        earlier, later : the light of both, float32 (H, W, 3), not changed.
        """
        background = self.background
        if background is None:
            return []
        sections = [
            (section_of(self.streaks[number][link.earlier], link.earlier_end, earlier, background),
             section_of(self.streaks[number + 1][link.later], link.later_end, later, background))
            for link in self.links[number]
        ]  # fmt: skip
        patches: list[Patch] = []
        sparks: list[tuple[Section, Section, float]] = []
        for link, (one, two) in zip(self.links[number], sections, strict=True):
            if link.shell:
                sparks.append((one, two, link.confidence))
            else:
                patches += [
                    alone(piece, background)
                    for piece in sweep(one, two, background, link.confidence)
                ]
        canvas = Canvas(background)
        before = share_light([one for one, _, _ in sparks])
        after = share_light([two for _, two, _ in sparks])
        for one, two, (*_, confidence) in zip(before, after, sparks, strict=True):
            for piece in sweep(one, two, background, confidence):
                canvas.lay(piece)
        known = self.shells[number] if self.shells else ()
        patches += [patch_of(shell, earlier, later, background) for shell in known]
        return [*patches, *canvas.patches(earlier, later)]


def bridge_streaks(
    frames: LightOf, exposed: Sequence[Exposed], sky: SkyTurn | None = None
) -> StreakBridge:
    """Return the bridge for lamps that move on their own.

    Parameters
    ----------
    frames : gives the light of each frame; each is asked for once, up to 15 once more.
    exposed : when each frame was exposed, in order of time.
    sky : where the sky's turning takes points of one frame in another; streaks that follow it
        are stars and are left alone.
    """
    count = len(exposed)
    if count < 2:
        return StreakBridge((), (), ((),) * count, None)
    background = still_background(frames, count)
    streaks: list[list[Streak]] = []
    sure: list[list[Link]] = []
    shells: list[list[LitShell]] = []
    before: LightArray | None = None
    for number in range(count):
        light = frames(number)
        spared = None if sky is None else stars_ridges(number, exposed, sky)
        # where stars are known, they may be many and are left out later
        most = MOST_STREAKS if sky is None else None
        found = find_streaks(light, background, spared, most)
        crowded = sky is None and len(found) > MOST_STREAKS
        found = [] if crowded else without_dashes(found)
        streaks.append(found if sky is None else without_stars(found, number, exposed, sky))
        if crowded or len(streaks[-1]) > MOST_STREAKS:
            verdicts = (GapVerdict(False, EVERYWHERE),) * (count - 1)
            return StreakBridge(verdicts, ((),) * (count - 1), ((),) * count, None)
        if before is not None:
            pair = (exposed[number - 1], exposed[number])
            # those of one display fall alike
            like = [gap[0] for gap in shells if gap][-1:]
            two = (streaks[-2], streaks[-1])
            shells.append(lit_shells(two, (before, light), background, pair, like))
            sure.append(_follow(streaks, before, light, background, exposed))
        before = light
    links = [
        without_known(gap, shells[number], (streaks[number], streaks[number + 1]))
        for number, gap in enumerate(link_all(streaks, exposed, sure))
    ]
    verdicts = tuple(GapVerdict(True) if gap or shells[number] else _unbridged(streaks, number)
                     for number, gap in enumerate(links))  # fmt: skip
    return StreakBridge(verdicts, tuple(map(tuple, links)), tuple(map(tuple, streaks)), background,
                        tuple(map(tuple, shells)))  # fmt: skip


def _follow(
    streaks: list[list[Streak]],
    before: LightArray,
    light: LightArray,
    background: Background,
    exposed: Sequence[Exposed],
) -> list[Link]:
    """Add to the last two frames' streaks those to which unlinked ones of the other lead, and
    return the links that are sure."""
    pair = (exposed[len(streaks) - 2], exposed[len(streaks) - 1])
    one, two = streaks[-2], streaks[-1]
    links, sure = links_of(one, two, *pair), list[Link]()
    if len(links) < MOST_GO_ON * max(min(len(one), len(two)), MANY_STREAKS):
        sparks = follow_sparks((one, two), (before, light), background, pair)
        one, two, sure = one + sparks.before, two + sparks.after, sparks.links
        links = links_of(one, two, *pair, sure)
    more_before = followed(two, links, one, before, background, pair, later_leads=True)
    more = followed(one, links, two, light, background, pair, later_leads=False)
    streaks[-2] = one + more_before
    streaks[-1] = two + more
    return sure


def _unbridged(streaks: Sequence[Sequence[Streak]], number: int) -> GapVerdict:
    """Return why nothing bridges the gap after a frame."""
    if not streaks[number] or not streaks[number + 1]:
        return GapVerdict(False, "no lamp moves in both frames")
    return GapVerdict(False, "no lamp of the one frame goes on in the other")
