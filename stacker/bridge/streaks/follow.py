"""Streaks that are found only because one of the neighbouring frame leads to them.

Where sparks fan out from one place, or the lamps of a car run into one another, ridges overlap and
streaks have no ends of their own. One that is clear in the next frame tells where to look: along
its way on, until there is light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.match import Link, farthest_of
from stacker.bridge.streaks.streak import MOST_WIDE, End, FloatArray, Streak, look_across, measure
from stacker.light.encoding import LightArray

# no more streaks than these lead on, the brightest; shorter ones, px and in widths, do not
MOST_LEADS, LEAST_PX, LEAST_WIDTHS = 150, 5.0, 2.0
# the way on is looked at to both sides by so many px and this share of the way
SIDE_PX, SIDE_SHARE = 1.0, 0.08
# light begins where it is this share of that of the leading streak, and so many times the unrest
LEAST_SHARE, LEAST_TIMES = 0.3, 6.0
# what is measured from there on, px and in widths
PIECE_PX, PIECE_WIDTHS = 10.0, 3.0
# what is found goes as the leading streak (cosine) and is no end that is known, px
LEAST_COSINE, KNOWN_PX = 0.8, 2.0


def followed(
    leading: Sequence[Streak],
    links: Sequence[Link],
    known: Sequence[Streak],
    light: LightArray,
    background: Background,
    exposed: tuple[Exposed, Exposed],
    *,
    later_leads: bool,
) -> list[Streak]:
    """Return streaks of a frame to which unlinked ones of its neighbour lead.

    Parameters
    ----------
    leading, known : streaks of the neighbouring frame and of this one.
    links : what is linked between both.
    light : of this frame.
    exposed : the earlier and the later of the two frames.
    later_leads : whether the neighbour is the later one.
    """
    taken = {(link.later, link.later_end) if later_leads else (link.earlier, link.earlier_end)
             for link in links}  # fmt: skip
    paired = {number for number, _ in taken}
    gap_s = max(exposed[1].start_s - exposed[0].end_s, 0.0)
    own = exposed[1] if later_leads else exposed[0]
    leads = [number for number in range(len(leading)) if number not in paired]
    leads.sort(key=lambda number: -float(leading[number].ends[0].light.sum()))
    ends = np.array([end.place for streak in known for end in streak.ends]).reshape(-1, 2)
    found: list[Streak] = []
    for number in sorted(leads[:MOST_LEADS]):
        streak = leading[number]
        if streak.length < LEAST_PX + LEAST_WIDTHS * streak.width:
            continue
        reach = farthest_of(streak, own, gap_s, later=later_leads)
        for end in streak.ends:
            piece = None if end.cut else _piece(end, reach, light, background)
            if piece is None:
                continue
            tip = piece.ends[0].place
            if not len(ends) or np.hypot(*(ends - tip).T).min() > KNOWN_PX:
                found.append(piece)
                ends = np.concatenate([ends, tip[None]])
    return found


def _piece(end: End, reach: float, light: LightArray, background: Background) -> Streak | None:
    """Return the streak that begins on the way on from an end, or None; its far end is cut."""
    long = PIECE_PX + PIECE_WIDTHS * end.width
    way = _way_on(end, reach + long)
    margin = 12 + int(3 * end.width)
    size = (light.shape[1], light.shape[0])
    low = np.maximum(np.floor(way.min(axis=0)) - margin, 0).astype(int)
    high = np.minimum(np.ceil(way.max(axis=0)) + margin + 1, size).astype(int)
    if (high - low < 2 * margin).any():
        return None
    window = (slice(low[1], high[1]), slice(low[0], high[0]))
    excess = background.excess(light, window)
    corner = low.astype(np.float32)
    most = SIDE_PX + SIDE_SHARE * len(way)
    offsets = np.arange(-np.ceil(most), np.ceil(most) + 0.1, 0.5, dtype=np.float32)
    seen = look_across(excess, way - corner, offsets).mean(axis=2)
    allowed = np.abs(offsets) <= (SIDE_PX + SIDE_SHARE * np.arange(len(way)))[:, None]
    seen = np.where(allowed, seen, -1)
    x, y = np.rint(end.place).astype(int)
    unrest = float(background.unrest[min(max(y, 0), size[1] - 1), min(max(x, 0), size[0] - 1)])
    lit = seen.max(axis=1) > max(LEAST_SHARE * float(end.light.mean()), LEAST_TIMES * unrest)
    first = int(lit.argmax())
    if not lit[first] or first > reach or not lit[first : first + int(long / 2)].all():
        return None
    stations = np.arange(first, min(first + int(long), len(way)))
    if len(stations) < 5:
        return None
    # a straight offset: single stations may see a neighbour
    off = offsets[seen[stations].argmax(axis=1)]
    side = np.polyval(np.polyfit(stations, off, 1), stations)
    ahead = np.gradient(way, axis=0)[stations]
    ahead /= np.maximum(np.hypot(*ahead.T)[:, None], 1e-6)
    line = way[stations] + side[:, None] * np.stack([-ahead[:, 1], ahead[:, 0]], axis=1)
    scale = 2.0 ** max(0, int(np.ceil(np.log2(max(end.width, 1) / MOST_WIDE))))
    streak = measure((line - corner).astype(np.float32), excess, scale, size, corner)
    if streak is None or -(streak.ends[0].heading @ end.heading) < LEAST_COSINE:
        return None
    return replace(streak, ends=(streak.ends[0], replace(streak.ends[1], cut=True)), followed=True)


def _way_on(end: End, far: float) -> FloatArray:
    """Return places one px apart on the way on from an end, its heading turning evenly."""
    s = np.arange(int(far) + 1)
    angle = np.arctan2(end.heading[1], end.heading[0]) + end.turn * s
    steps = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    way = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)[:-1]])
    return np.asarray(end.place + way, np.float32)
