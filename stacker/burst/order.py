"""The order in which frames were shot: by time, and by counter where times do not tell.

Cameras count to 9999 and begin again; and a clock that changes its zone jumps by whole half hours.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

_DIGITS = re.compile(r"(\d+)")
HALF_HOUR_S = 1800.0
# clocks are not set further apart than the zones of the earth
LONGEST_JUMP_S = 26 * 3600.0
# counters that began again: the way over the top is this much shorter than the largest hole
WRAP_RATIO = 8
# below three digits a number is hardly a camera's counter
COUNTER_DIGITS = 3

NaturalKey = tuple[tuple[int, int, str], ...]


def natural_key(name: str) -> NaturalKey:
    """Return a key that sorts names without regard to case, runs of digits by their value."""
    parts = _DIGITS.split(name.casefold())
    return tuple(
        (1, int(part), part) if place % 2 else (0, 0, part) for place, part in enumerate(parts)
    )


def by_name(names: Sequence[str]) -> list[int]:
    """Return the places of names in natural order, a counter that began again put last.

    IMG_9998, IMG_9999, IMG_0001: seen where the names differ in one number of a fixed count of
    digits, and the numbers crowd at both ends of its range.
    """
    order = sorted(range(len(names)), key=lambda place: (natural_key(names[place]), names[place]))
    counters = _counters([names[place] for place in order])
    if counters is None:
        return order
    values, top = counters
    first = _first_after_wrap(values, top)
    return order[first:] + order[:first]


def _counters(names: Sequence[str]) -> tuple[list[int], int] | None:
    """Return the only number in which names differ, and the count at which it begins again."""
    parts = [_DIGITS.split(name.casefold()) for name in names]
    if len(names) < 2 or len({len(split) for split in parts}) != 1:
        return None
    differing = [
        place for place, words in enumerate(zip(*parts, strict=True)) if len(set(words)) > 1
    ]
    if len(differing) != 1 or differing[0] % 2 == 0:
        return None
    words = [split[differing[0]] for split in parts]
    digits = len(words[0])
    if digits < COUNTER_DIGITS or any(len(word) != digits for word in words):
        return None
    return [int(word) for word in words], 10**digits


def _first_after_wrap(values: Sequence[int], top: int) -> int:
    """Return the place in ascending counters at which the burst began; 0 without a wrap."""
    holes = [two - one for one, two in pairwise(values)]
    largest = max(holes)
    over_the_top = values[0] + top - values[-1]
    if largest < top // 2 or over_the_top * WRAP_RATIO > largest:
        return 0
    return holes.index(largest) + 1


@dataclass(frozen=True)
class Ordered:
    """The result of ordering.

    ``places`` are the places of the given frames in shot order; ``times_s`` their capture times
    in that order, None where unknown; ``jump_s`` what a clock was set back by, 0 for none.
    """

    places: tuple[int, ...]
    times_s: tuple[float | None, ...]
    jump_s: float = 0.0


def in_shot_order(names: Sequence[str], times_s: Sequence[float | None]) -> Ordered:
    """Return frames in the order in which they were shot.

    Parameters
    ----------
    names : one for each frame; names that are alike keep the order they come in.
    times_s : capture times in seconds on any one clock; None where unknown. Used where at
        least half of the frames have one; a frame without stays beside its neighbour by name.
    """
    named = by_name(names)
    known = [time for time in times_s if time is not None]
    if 2 * len(known) < len(names) or not known:
        return Ordered(tuple(named), tuple(times_s[place] for place in named))
    mended, jump_s = _mended(names, named, times_s)
    filled: list[float] = []
    latest = min(time for time in mended if time is not None)
    for time in mended:
        latest = latest if time is None else time
        filled.append(latest)
    ranks = _ranks_within_ties(names, named, filled)
    return Ordered(
        tuple(named[rank] for rank in ranks), tuple(mended[rank] for rank in ranks), jump_s
    )


def _ranks_within_ties(
    names: Sequence[str], named: Sequence[int], filled: Sequence[float]
) -> list[int]:
    """Return ranks in name order sorted by time; among equal times a wrap is looked for anew."""
    groups: dict[float, list[int]] = {}
    for rank, time in enumerate(filled):
        groups.setdefault(time, []).append(rank)
    ranks: list[int] = []
    for time in sorted(groups):
        group = groups[time]
        ranks.extend(group[place] for place in by_name([names[named[rank]] for rank in group]))
    return ranks


def _mended(
    names: Sequence[str], named: Sequence[int], times_s: Sequence[float | None]
) -> tuple[list[float | None], float]:
    """Return times in name order with a backward jump of the clock taken out, and the jump.

    Mended only where the counter runs on by one over every jump and the jump is whole half
    hours, give or take what the cadence allows; otherwise the times stay as they are.
    """
    times = [times_s[place] for place in named]
    sound = [rank for rank, time in enumerate(times) if time is not None]
    values = [time for time in times if time is not None]
    steps = [two - one for one, two in pairwise(values)]
    forward = [step for step in steps if step >= 0]
    backward = [place for place, step in enumerate(steps) if step < -HALF_HOUR_S / 2]
    if not backward or len(backward) + len(forward) < len(steps) or not forward:
        return times, 0.0
    usual = median(forward)
    moved = list(times)
    total = 0.0
    for place in backward:
        one, two = sound[place], sound[place + 1]
        jump = round((usual - steps[place]) / HALF_HOUR_S) * HALF_HOUR_S
        off = abs(steps[place] + jump - usual)
        if (
            not _follows(names[named[one]], names[named[two]])
            or off > max(2.0, usual / 2)
            or not 0 < jump <= LONGEST_JUMP_S
        ):
            return times, 0.0
        for rank in range(two, len(moved)):
            known = moved[rank]
            moved[rank] = None if known is None else known + jump
        total += jump
    return moved, total


def _follows(one: str, two: str) -> bool:
    """Whether a name's counter is the next after another's."""
    counters = _counters([one, two])
    if counters is None:
        parts = [_DIGITS.split(name.casefold()) for name in (one, two)]
        numbers = [[int(word) for word in split[1::2]] for split in parts]
        return parts[0][::2] == parts[1][::2] and sum(numbers[1]) - sum(numbers[0]) == 1
    (before, after), top = counters
    return after - before == 1 or (after < before and after + top - before <= 2)
