"""What the numbers in file names tell: frames that are missing, doubled or out of order."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

# shorter runs of digits are hardly a camera's counter
COUNTER_DIGITS = 3
# a hole wider than this is two walks with the camera, not frames that were lost
MOST_MISSING = 200
# such a part of a whole turn of the counter and more is the counter beginning again
WRAP_SHARE = 0.5


@dataclass(frozen=True)
class Hole:
    """Numbers that no file has: ``missing`` of them after the frame at place ``after``."""

    after: int
    missing: tuple[str, ...]


@dataclass(frozen=True)
class Numbering:
    """What was found; places count from 0 in the order given.

    ``doubled`` are groups of places with one number, ``backwards`` places whose number is lower
    than that of the frame before.
    """

    holes: tuple[Hole, ...] = ()
    doubled: tuple[tuple[int, ...], ...] = ()
    backwards: tuple[int, ...] = ()


def read_numbering(names: Sequence[str]) -> Numbering:
    """Return what the numbers of files say, given in the order in which they were shot.

    Parameters
    ----------
    names : file names. Nothing is found where they have no counter in common.
    """
    counters = [_counter(name) for name in names]
    known = [counter for counter in counters if counter is not None]
    if len(names) < 2 or len(known) != len(names) or len({(c[0], c[2]) for c in known}) != 1:
        return Numbering()
    prefix, _, digits = known[0]
    values = [counter[1] for counter in known]
    places: dict[int, list[int]] = defaultdict(list)
    for place, value in enumerate(values):
        places[value].append(place)
    holes, backwards = [], []
    top = 10**digits
    for place, (one, two) in enumerate(pairwise(values)):
        step = two - one
        if step < -WRAP_SHARE * top:
            # 9999 is followed by 0001, seldom by 0000
            step += top - 1
            two += top - 1
        if step < 0:
            backwards.append(place + 1)
        elif 1 < step <= MOST_MISSING:
            lost = [(number - 1) % (top - 1) + 1 for number in range(one + 1, two)]
            holes.append(Hole(place, tuple(f"{prefix}{number:0{digits}d}" for number in lost)))
    # frames out of order leave holes that are none
    if backwards:
        present = set(values)
        holes = [h for h in holes if not {int(m[-digits:]) for m in h.missing} & present]
    doubled = tuple(tuple(group) for group in places.values() if len(group) > 1)
    return Numbering(tuple(holes), doubled, tuple(backwards))


def _counter(name: str) -> tuple[str, int, int] | None:
    """Return prefix, number and digits of a name such as ``IMG_0042 (1).JPG``; None without."""
    stem = name.rpartition(".")[0] or name
    # what a copy adds to a name is no part of its number
    stem = re.sub(r"(?i)( ?\(\d{1,2}\)| copy( \d+)?|[-_ ]edited)$", "", stem)
    found = re.search(rf"(\d{{{COUNTER_DIGITS},}})\D*$", stem)
    if found is None:
        return None
    return stem[: found.start()], int(found[1]), len(found[1])
