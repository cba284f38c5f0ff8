"""Which streak of one frame goes on as which of the next.

Pairs are judged by what a lamp can do: it leaves by one end and comes in by another, in the
same direction, over a way that its speed in both frames explains, with the width, colour and
brightness it had. A lamp's way through the frames before and after counts too.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.assignment import assign
from stacker.bridge.streaks.streak import End, FloatArray, Streak

# a pair dearer than this is none; one that no other gap bears out has to be cheaper
ALONE, ALONE_UNSUPPORTED = 14.0, 9.0
# any single test failed by more than so many of its tolerances rules a pair out
MOST_OFF = 3.0
# tolerances: natural logarithms of width, brightness and speed, and distance of colours
WIDTH_TOLERANCE, LIGHT_TOLERANCE, SPEED_TOLERANCE, COLOUR_TOLERANCE = 0.40, 0.8, 1.5, 0.10
# of the way through the gap: in px, in widths, and as a share of the way expected
WAY_PX, WAY_WIDTHS, WAY_SHARE = 0.8, 0.25, 0.20
# a streak that the border cut tells the way no better than to this share
CUT_SHARE = 0.7
# of the offset to the side that no even turn explains, and of the turn itself
SIDE_PX, SIDE_WIDTHS, SIDE_SHARE = 0.5, 0.12, 0.08
TURN_SHARE = 0.12
# what it costs, in tolerances, to go by the length of one streak alone
ONE_SIDED = 1.0
# the later end lies aside of the earlier heading by no more than this share of the way
MOST_ASIDE = 0.5
# among so many streaks, pairs found with the later ones set aside by these, px, tell of chance;
# a pair is not believed where they are more than this share of those found among so many nearest,
# of those that cost no more than it or so much
MANY_STREAKS, AROUND, CHEAP, MOST_BY_CHANCE = 60, 24, 5.0, 0.35
# a burst in which fewer of many streaks than this share go on shows no lamps
LEAST_LINKED = 0.05
ASIDE_PX = np.array([[37, 23], [-31, 29], [5, -43]], np.float32)
# a spark slows down, by no more than this exponent within a shutter; what it costs, in tolerances
MOST_SLOWING, SLOWS = 2.5, 1.5
# a lamp that came into a frame ended early where its streak is shorter than before by this share
ENDED_EARLY = 0.8
# a streak is followed back no farther than so many times its own way in that time
MOST_FOLLOWED = 4.0
# heading changes by no more than this through a gap (cosine)
LEAST_COSINE = 0.5


@dataclass(frozen=True)
class Link:
    """A streak that goes on: numbers of the streak and its end in the earlier and later frame.

    ``shell`` tells that it is a spark of a shell, whose light adds to that of others about it.
    """

    earlier: int
    earlier_end: int
    later: int
    later_end: int
    cost: float
    shell: bool = False

    @property
    def confidence(self) -> float:
        """How sure it is, 0 to 1."""
        return float(np.exp(-0.5 * self.cost / ALONE_UNSUPPORTED))


def farthest_of(streak: Streak, exposed: Exposed, gap_s: float, *, later: bool) -> float:
    """Return how far a streak's lamp may come in the gap before it (``later``) or after it, px."""
    way = streak.length * max(gap_s, 0) / exposed.shutter_s
    if later:
        way *= min(_slowing(gap_s / exposed.shutter_s), MOST_FOLLOWED)
    return way * (1 + WAY_SHARE) + 2 * streak.width + 4


def links_of(
    one: Sequence[Streak],
    two: Sequence[Streak],
    first: Exposed,
    second: Exposed,
    sure: Sequence[Link] = (),
) -> list[Link]:
    """Return the links of one gap for itself, those that are ``sure`` among them."""
    return _Prices(one, two, first, second, sure).links({}, {})


def link_all(
    streaks: Sequence[Sequence[Streak]],
    exposed: Sequence[Exposed],
    sure: Sequence[Sequence[Link]] | None = None,
) -> list[list[Link]]:
    """Return the links of each gap, given the streaks of each frame and the links that are sure."""
    sure = [()] * (len(streaks) - 1) if sure is None else sure
    prices = [_Prices(streaks[n], streaks[n + 1], exposed[n], exposed[n + 1], sure[n])
              for n in range(len(streaks) - 1)]  # fmt: skip
    links = [price.links({}, {}) for price in prices]
    for _ in range(2):
        # where a lamp came in and where it will leave, as the neighbouring gaps tell
        came = [{link.later: link for link in gap} for gap in links]
        left = [{link.earlier: link for link in gap} for gap in links]
        early = [set[int]()] + [
            {link.later for link in gap
             if streaks[n + 1][link.later].length / exposed[n + 1].shutter_s
             < ENDED_EARLY * streaks[n][link.earlier].length / exposed[n].shutter_s}
            for n, gap in enumerate(links)
        ]  # fmt: skip
        links = [
            price.links(
                came[n - 1] if n else {}, left[n + 1] if n + 1 < len(prices) else {}, early[n]
            )
            for n, price in enumerate(prices)
        ]
    believed = [
        [
            *sure[n],
            *_beyond_chance(
                _supported(links, n, sure[n]), streaks[n], streaks[n + 1],
                exposed[n], exposed[n + 1],
            ),
        ]
        for n in range(len(links))
    ]  # fmt: skip
    fewer = [min(len(streaks[n]), len(streaks[n + 1])) for n in range(len(links))]
    if max(fewer, default=0) < MANY_STREAKS:
        return believed
    # where next to nothing goes on, what does is chance
    return believed if sum(map(len, believed)) >= LEAST_LINKED * sum(fewer) else [[] for _ in links]


def _beyond_chance(
    links: list[Link], one: Sequence[Streak], two: Sequence[Streak], first: Exposed, second: Exposed
) -> list[Link]:
    """Return the links without those about which as many are found where there can be none.

    By day everything that moves has edges and highlights, and some will always fit; so does the
    glitter of water. Streaks of the later frame are set aside, where no lamp can have gone: pairs
    found there tell of chance. It is told for each link from those nearest to it, since sparks
    above glitter are no chance.
    """
    if min(len(one), len(two)) < MANY_STREAKS or not links:
        return links
    # one that a streak led to was looked for where that one may go on: no news about chance
    news = [not one[link.earlier].followed and not two[link.later].followed for link in links]
    by_chance = []
    for aside in ASIDE_PX:
        moved = [_set_aside(streak, aside) for streak in two]
        by_chance += links_of(one, moved, first, second)
    if not by_chance:
        return links
    places, odd = (
        np.array([one[link.earlier].ends[link.earlier_end].place for link in some])
        for some in (links, by_chance)
    )
    costs, odd_costs = (np.array([link.cost for link in some]) for some in (links, by_chance))
    kept = []
    for link, place in zip(links, places, strict=True):
        far = np.hypot(*(places - place).T)
        reach = np.sort(far[news])[:AROUND].max(initial=0)
        # those that are no dearer: chance finds dear ones more often
        dear = max(link.cost, CHEAP)
        found = int(((far <= reach) & (costs <= dear) & news).sum())
        near = (np.hypot(*(odd - place).T) <= reach) & (odd_costs <= dear)
        if int(near.sum()) <= MOST_BY_CHANCE * found * len(ASIDE_PX):
            kept.append(link)
    return kept


def _set_aside(streak: Streak, aside: FloatArray) -> Streak:
    """Return a streak as if it lay elsewhere."""
    one, two = (replace(end, place=end.place + aside) for end in streak.ends)
    return replace(streak, ends=(one, two))


def _supported(links: Sequence[Sequence[Link]], number: int, sure: Sequence[Link]) -> list[Link]:
    """Return the links of a gap that are not sure but cheap, or that a neighbouring gap bears
    out."""
    known = {(link.earlier, link.later) for link in sure}
    before = {link.later for link in links[number - 1]} if number else set[int]()
    after = {link.earlier for link in links[number + 1]} if number + 1 < len(links) else set[int]()
    return [
        link
        for link in links[number]
        if (link.earlier, link.later) not in known
        and (link.cost < ALONE_UNSUPPORTED or link.earlier in before or link.later in after)
    ]


class _Prices:
    """What each pair of ends of two neighbouring frames costs."""

    def __init__(
        self,
        one: Sequence[Streak],
        two: Sequence[Streak],
        first: Exposed,
        second: Exposed,
        sure: Sequence[Link] = (),
    ) -> None:
        self._shape = (len(one), len(two))
        # by streak and end of both; of lamps that began in the earlier frame, and of those that
        # came into it from the one before
        self._cost = np.full((2, len(one), 2, len(two), 2), np.inf)
        if not one or not two:
            return
        gap_s = second.start_s - first.end_s
        place, heading, light = (
            np.array([[getattr(end, name) for end in streak.ends] for streak in two])
            for name in ("place", "heading", "light")
        )
        colour = _colour(light)
        for i, streak in enumerate(one):
            reach = 2 * _farthest(streak, first, gap_s)
            for e, end in enumerate(streak.ends):
                # what rules most pairs out, for all at once
                across = place - end.place
                far = np.hypot(across[..., 0], across[..., 1])
                possible = (far < reach) & (heading @ end.heading < -LEAST_COSINE)
                off = np.abs(across[..., 0] * end.heading[1] - across[..., 1] * end.heading[0])
                possible &= off < SIDE_PX * 8 + streak.width + far * MOST_ASIDE
                apart = np.linalg.norm(colour - _colour(end.light), axis=-1)
                possible &= apart < MOST_OFF * COLOUR_TOLERANCE
                for j, f in zip(*np.nonzero(possible), strict=True):
                    self._cost[:, i, e, j, f] = _costs(streak, e, two[j], int(f), first, second)
        for link in sure:
            self._cost[:, link.earlier] = self._cost[:, :, :, link.later] = np.inf
        for link in sure:
            self._cost[:, link.earlier, link.earlier_end, link.later, link.later_end] = link.cost

    def links(
        self, came: dict[int, Link], left: dict[int, Link], early: Collection[int] = ()
    ) -> list[Link]:
        """Return the links of least total cost.

        ``came`` tells by which end lamps came into the earlier frame, ``left`` by which they left
        the later one: they use the other end here. Those that came in and ended ``early`` were not
        much faster than their streaks tell.
        """
        if not min(self._shape):
            return []
        cost = self._cost[0].copy()
        for streak, link in came.items():
            if streak in early:
                cost[streak] = self._cost[1, streak]
            cost[streak, link.later_end] += ALONE / 2
        for streak, link in left.items():
            cost[:, :, streak, link.earlier_end] += ALONE / 2
        flat = cost.transpose(0, 2, 1, 3).reshape(*self._shape, 4)
        best = flat.argmin(axis=2)
        pairs = assign(flat.min(axis=2), ALONE)
        return [
            Link(i, int(best[i, j]) // 2, j, int(best[i, j]) % 2, float(flat[i, j, best[i, j]]))
            for i, j in pairs
        ]


def _farthest(streak: Streak, exposed: Exposed, gap_s: float) -> float:
    """Return how far a lamp may come in the gap, px."""
    return streak.length * max(gap_s, 0) / exposed.shutter_s * 1.5 + 2 * streak.width + 4


def way_through(one: Streak, two: Streak, first: Exposed, second: Exposed) -> float:
    """Return how far a lamp goes through the gap, px, its speed changing by the same factor in
    equal times."""
    gap_s = max(second.start_s - first.end_s, 0.0)
    fast, later = one.length / first.shutter_s, two.length / second.shutter_s
    apart = gap_s + (first.shutter_s + second.shutter_s) / 2
    rate = np.log(later / fast) / apart
    # the mean over a shutter is more than the speed in its middle
    speed = np.sqrt(
        fast / _mean_gain(rate * first.shutter_s) * later / _mean_gain(rate * second.shutter_s)
    )
    return float(speed * gap_s * _mean_gain(rate * gap_s))


def _mean_gain(change: float) -> float:
    """Return the mean of exp(x) over an interval of this length about 0."""
    half = abs(change) / 2
    return float(np.sinh(half) / half) if half > 1e-3 else 1.0


def _costs(
    one: Streak, e: int, two: Streak, f: int, first: Exposed, second: Exposed
) -> tuple[float, float]:
    """Return what it costs that ``one`` leaves by its end ``e`` and is ``two`` that comes in by
    its end ``f``: the sum of squared tests, or infinity; if it began in its frame, and if not."""
    leaves, comes = one.ends[e], two.ends[f]
    if leaves.cut or comes.cut or -(leaves.heading @ comes.heading) < LEAST_COSINE:
        return np.inf, np.inf
    width = (leaves.width + comes.width) / 2
    looks = [np.log(comes.width / leaves.width) / WIDTH_TOLERANCE, *_light_tests(leaves, comes)]
    began, came = (
        [*_way_tests(one, two, e, f, first, second, width, began=began), *looks]
        for began in (True, False)
    )
    return _sum_of(began), _sum_of(came)


def _sum_of(tests: Sequence[float]) -> float:
    """Return the sum of squared tests, or infinity where one fails by far."""
    if max(abs(test) for test in tests) > MOST_OFF:
        return np.inf
    return float(np.sum(np.square(tests)))


def _way_tests(
    one: Streak, two: Streak, e: int, f: int, first: Exposed, second: Exposed, width: float,
    *, began: bool,
) -> list[float]:  # fmt: skip
    """Return tests of the way through the gap: its length, its sides, its turn, the speed.

    Only a light that ``began`` in the earlier frame may have been much faster than that tells: one
    that came into it and ends early is out.
    """
    leaves, comes = one.ends[e], two.ends[f]
    gap_s = max(second.start_s - first.end_s, 0.0)
    one_way = one.length / first.shutter_s * gap_s
    other_way = two.length / second.shutter_s * gap_s
    whole = not (one.ends[1 - e].cut or two.ends[1 - f].cut)
    speed = abs(float(np.log(other_way / one_way))) if gap_s > 0 else 0.0
    # how much the speed changes is known less well than that it does; a streak that the border
    # cut tells but its least
    share = WAY_SHARE * (1 + speed) if whole else CUT_SHARE
    ways = []
    if speed < MOST_OFF * SPEED_TOLERANCE:
        extra = speed / SPEED_TOLERANCE if whole else ONE_SIDED
        ways.append((*(way_through(one, two, first, second),) * 2, share, extra))
    # one that runs into another lamp's in the same frame tells no speed
    if not one.ends[1 - e].cut:
        ways.append((one_way, one_way, WAY_SHARE, ONE_SIDED))
    if not two.ends[1 - f].cut:
        ways.append((other_way, other_way, WAY_SHARE, ONE_SIDED))
        if began:
            slowing = other_way * _slowing(gap_s / second.shutter_s)
            ways.append((other_way, slowing, WAY_SHARE, SLOWS))
    return min(
        (_tests_of_way(leaves, comes, width, *way) for way in ways),
        key=lambda tests: sum(test * test for test in tests),
        default=[np.inf],
    )


def _slowing(gap: float) -> float:
    """Return how many times farther than in as long of the later shutter a light can have come in
    a gap, given in shutters, that slows down."""
    before = np.expm1(MOST_SLOWING * gap) / (MOST_SLOWING * gap) if gap > 0 else 1.0
    return float(before * MOST_SLOWING / -np.expm1(-MOST_SLOWING))


def _tests_of_way(
    leaves: End, comes: End, width: float, least: float, most: float, share: float, extra: float
) -> list[float]:
    """Return the tests for a way between two lengths, known to a share, and what speaks against
    it."""
    out, into = leaves.heading, -comes.heading
    across = comes.place - leaves.place
    tests = [extra]
    mean = out + into
    along = float(across @ mean) / float(np.hypot(*mean))
    expected = min(max(along, least), most)
    # the way is bent, the chord shorter
    tests.append((along - expected) / (WAY_PX + WAY_WIDTHS * width + share * expected))
    leaving, coming = _to_side(out, across), _to_side(into, across)
    side = SIDE_PX + SIDE_WIDTHS * width
    tests.append((leaving + coming) / (side + SIDE_SHARE * expected))
    turn = (leaves.turn - comes.turn) / 2 * expected**2 / 2
    tests.append(((leaving - coming) / 2 - turn) / (side + TURN_SHARE * expected + abs(turn) / 2))
    return tests


def _to_side(heading: FloatArray, across: FloatArray) -> float:
    """Return how far to the right of a heading a vector points (y is down)."""
    return float(heading[0] * across[1] - heading[1] * across[0])


def _colour(light: FloatArray) -> FloatArray:
    """Return the shares of the channels, (..., 3)."""
    positive = np.maximum(light, 1e-6)
    return np.asarray(positive / positive.sum(axis=-1, keepdims=True), np.float32)


def _light_tests(leaves: End, comes: End) -> list[float]:
    """Return tests of brightness and colour."""
    one, two = leaves.light, comes.light
    brighter = np.log(max(two.sum(), 1e-6) / max(one.sum(), 1e-6))
    colour = float(np.linalg.norm(_colour(one) - _colour(two)))
    return [float(brighter) / LIGHT_TOLERANCE, colour / COLOUR_TOLERANCE]
