"""Comparator networks: picking ranks from many arrays at once with minimum and maximum alone.

A network is a list of pairs of wires (a, b); each puts the lesser value on a and the greater on
b. The same few steps then serve every pixel, so that whole blocks of arrays are compared at once.

Source: D. E. Knuth, The Art of Computer Programming 3, section 5.3.4 (merge exchange, after
K. E. Batcher 1968); taking the extremes off from both sides is the forgetful selection of
A. W. Paeth, Graphics Gems (1990), "Median finding on a 3 x 3 grid".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

Comparator = tuple[int, int]


@dataclass(frozen=True)
class Network:
    """Steps to run, and the wires on which the kept values then lie, lowest ranks first.

    Only a network that sorts leaves the kept values in order.
    """

    steps: tuple[Comparator, ...]
    kept: tuple[int, ...]


@lru_cache(maxsize=256)
def sorting_network(wires: int) -> Network:
    """Return a network that sorts any number of wires (merge exchange)."""
    steps: list[Comparator] = []
    if wires > 1:
        highest = 1 << ((wires - 1).bit_length() - 1)
        p = highest
        while p > 0:
            q, r, d = highest, 0, p
            while True:
                steps += [(i, i + d) for i in range(wires - d) if i & p == r]
                if q == p:
                    break
                d, q, r = q - p, q >> 1, p
            p >>= 1
    return Network(tuple(steps), tuple(range(wires)))


@lru_cache(maxsize=256)
def dropping_network(wires: int, lowest: int, highest: int) -> Network:
    """Return a network that drops the lowest and highest values and keeps the middle ones.

    Parameters
    ----------
    wires : how many values come in.
    lowest, highest : how many to drop on either side.
    """
    peeling = _peel(wires, lowest, highest)
    by_sorting = sorting_network(wires)
    if len(by_sorting.steps) < len(peeling.steps):
        return Network(by_sorting.steps, by_sorting.kept[lowest : wires - highest])
    return peeling


def _peel(wires: int, lowest: int, highest: int) -> Network:
    """Take one extreme off at a time: cheap while few are dropped."""
    steps: list[Comparator] = []
    left = list(range(wires))
    while lowest > 0 and highest > 0 and len(left) > 1:
        pairs = list(zip(left[::2], left[1::2], strict=False))
        steps += pairs
        odd = left[-1:] if len(left) % 2 else []
        lows, highs = [low for low, _ in pairs] + odd, [high for _, high in pairs] + odd
        steps += [(lows[0], low) for low in lows[1:]]
        steps += [(high, highs[0]) for high in highs[1:]]
        left = [wire for wire in left if wire not in (lows[0], highs[0])]
        lowest, highest = lowest - 1, highest - 1
    for _ in range(lowest):
        steps += [(left[0], wire) for wire in left[1:]]
        left = left[1:]
    for _ in range(highest):
        steps += [(wire, left[-1]) for wire in left[:-1]]
        left = left[:-1]
    return Network(tuple(steps), tuple(left))


def run_network(
    network: Network, arrays: Sequence[npt.NDArray[Any]], spare: npt.NDArray[Any]
) -> tuple[list[npt.NDArray[Any]], npt.NDArray[Any]]:
    """Return the arrays by wire after all steps, and the buffer that is spare then.

    The arrays are used as buffers: their contents are rearranged and one of them changes
    places with ``spare`` at each step, in the same way for all arrays of the same shape.
    """
    wires = list(arrays)
    for a, b in network.steps:
        np.minimum(wires[a], wires[b], out=spare)
        np.maximum(wires[a], wires[b], out=wires[b])
        wires[a], spare = spare, wires[a]
    return wires, spare
