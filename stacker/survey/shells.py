"""Fireworks: which shells burst when and where, and which few of them make a full sky.

A shell adds light that rises fast and fades; between two shells the added light is low. Those that
burst over each other burn out to white where they overlap. A set is worth the sky that it
lights, less what it burns out more than once.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

LightMap = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# added light above this share of the strongest frame's is a shell's, and a valley is one that falls
# to this share of the lower of the peaks beside it
LEAST_SHARE, VALLEY = 0.04, 0.6
# light above the still scene, 1.0 being white, that counts as lit, and that is near to burning out
LIT, BRIGHT = 0.02, 0.5
# one pixel burnt out by two shells undoes so many that one lights
OVERLAP_COST = 4.0
# sets that are all tried: above, what greedy choice and single exchanges find has to do
MOST_TRIED = 20_000


@dataclass(frozen=True, eq=False)
class Shell:
    """Light between two valleys of the added light.

    Parameters
    ----------
    first, peak, last : frames, counted from 0.
    brightness : the added light at its peak, mean over the picture.
    lit, bright : bool (h, w), where it shines, and where strongly.
    """

    first: int
    peak: int
    last: int
    brightness: float
    lit: BoolArray
    bright: BoolArray

    @property
    def extent(self) -> float:
        """The share of the picture that it lights."""
        return float(self.lit.mean())


def find_shells(frames: npt.NDArray[np.float32]) -> list[Shell]:
    """Return the shells in the order of their bursting.

    Parameters
    ----------
    frames : float32 (N, h, w), the light of frames that lie still; the brightest channel.
    """
    added = np.maximum(frames - np.median(frames, axis=0), 0)
    strength = added.mean(axis=(1, 2))
    shells = []
    for first, last in _between_valleys(strength):
        whole = added[first : last + 1].max(axis=0)
        peak = first + int(np.argmax(strength[first : last + 1]))
        shells.append(Shell(first, peak, last, float(strength[peak]), whole > LIT, whole > BRIGHT))
    return shells


def _between_valleys(strength: npt.NDArray[np.float32]) -> list[tuple[int, int]]:
    """Return first and last frame of each stretch of added light, cut at its valleys."""
    if strength.max() <= 0:
        return []
    shining = strength > LEAST_SHARE * strength.max()
    spans: list[tuple[int, int]] = []
    for lit, group in itertools.groupby(range(len(strength)), key=lambda k: bool(shining[k])):
        if lit:
            run = list(group)
            spans += _cut(strength, run[0], run[-1])
    return spans


def _cut(strength: npt.NDArray[np.float32], first: int, last: int) -> list[tuple[int, int]]:
    """Return a stretch cut at its deepest valley, and its parts likewise."""
    valleys = [
        (strength[k] / min(strength[first:k].max(), strength[k + 1 : last + 1].max()), k)
        for k in range(first + 1, last)
    ]
    depth, valley = min(valleys, default=(math.inf, 0))
    if depth > VALLEY:
        return [(first, last)]
    # what shines in the valley is the fading shell's, before the next one rises
    return _cut(strength, first, valley) + _cut(strength, valley + 1, last)


def worth(shells: Sequence[Shell]) -> float:
    """Return what a set of shells is worth: pixels lit, less those burnt out more than once."""
    if not shells:
        return 0.0
    lit = np.logical_or.reduce([shell.lit for shell in shells])
    twice = np.sum([shell.bright for shell in shells], axis=0, dtype=np.int32) > 1
    return float(lit.sum() - OVERLAP_COST * twice.sum())


def choose_shells(shells: Sequence[Shell], count: int | None) -> list[int]:
    """Return the shells, by number, that fill the sky with the least burnt out overlap.

    Parameters
    ----------
    count : how many; as many as gain something if None.

    Notes
    -----
    One after the other the shell that adds most, then exchanges of one for another while they
    gain. Where a count is given and there are few sets of it, all of them are tried instead.
    """
    most = len(shells) if count is None else min(count, len(shells))
    if count is not None and math.comb(len(shells), most) <= MOST_TRIED:
        sets = itertools.combinations(range(len(shells)), most)
        return list(max(sets, key=lambda numbers: worth([shells[n] for n in numbers])))
    return _improved(shells, _greedy(shells, most, stop=count is None))


def _greedy(shells: Sequence[Shell], most: int, *, stop: bool) -> list[int]:
    """Return shells taken one after the other; where ``stop``, only those that add something."""
    taken: list[int] = []
    while len(taken) < most:
        here = worth([shells[n] for n in taken])
        rest = [n for n in range(len(shells)) if n not in taken]
        best = max(rest, key=lambda n: worth([shells[m] for m in [*taken, n]]))
        if stop and worth([shells[m] for m in [*taken, best]]) <= here:
            break
        taken.append(best)
    return sorted(taken)


def _improved(shells: Sequence[Shell], taken: list[int]) -> list[int]:
    """Return a set in which no exchange of one shell for another gains."""
    best = worth([shells[n] for n in taken])
    while True:
        swaps = [
            sorted([n for n in taken if n != out] + [new])
            for out in taken
            for new in range(len(shells))
            if new not in taken
        ]
        found = max(swaps, key=lambda numbers: worth([shells[n] for n in numbers]), default=taken)
        value = worth([shells[n] for n in found])
        if value <= best:
            return taken
        taken, best = found, value
