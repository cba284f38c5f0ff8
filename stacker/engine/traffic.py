"""What is told of traffic: how many lamps passed, and when the road was empty."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

from stacker.bridge.streaks import StreakBridge
from stacker.burst import Burst

# stretches that a sentence names
NAMED = 3


def told_of_traffic(
    bridge: StreakBridge, burst: Burst, used: Sequence[int]
) -> tuple[dict[str, Any], list[str]]:
    """Return what the report says of the lamps that passed, and sentences for a person.

    Parameters
    ----------
    bridge : what was found of moving lamps in the frames ``used``.
    """
    counts = [len(each) for each in bridge.streaks]
    passed = _passed(bridge)
    empty = _empty(counts)
    spans = [_span(burst, used, first, last) for first, last in empty]
    found = {
        "traffic": {
            "streaks": sum(counts),
            "lamps": passed,
            "streaks_a_frame": counts,
            "empty": spans,
        }
    }
    if bridge.background is None:
        return found, []
    sentence = f"{sum(counts)} streaks of lamps were found in {len(counts)} frames"
    sentence += f", of {passed} that went on from frame to frame" if passed else ""
    if not spans:
        return found, [f"{sentence}; the road was never empty"]
    words = [f"{each['from_s']:g} to {each['to_s']:g} s" for each in spans[:NAMED]]
    more = f" and {len(spans) - NAMED} more times" if len(spans) > NAMED else ""
    return found, [f"{sentence}; the road was empty from {', '.join(words)}{more}"]


def _passed(bridge: StreakBridge) -> int:
    """Return how many chains of linked streaks there are: lamps that passed."""
    begun = 0
    for number, links in enumerate(bridge.links):
        before = bridge.links[number - 1] if number else ()
        arriving = {link.later for link in before}
        begun += sum(link.earlier not in arriving for link in links)
    return begun


def _empty(counts: Sequence[int]) -> list[tuple[int, int]]:
    """Return first and last number of each run of frames without a streak."""
    runs = []
    for without, group in itertools.groupby(range(len(counts)), key=lambda k: counts[k] == 0):
        if without:
            run = list(group)
            runs.append((run[0], run[-1]))
    return runs


def _span(burst: Burst, used: Sequence[int], first: int, last: int) -> dict[str, Any]:
    start, end = burst.frames[used[first]], burst.frames[used[last]]
    return {
        "first": start.name,
        "last": end.name,
        "from_s": round(start.start_s, 1),
        "to_s": round(end.start_s + (end.shutter_s or 0.0), 1),
    }
