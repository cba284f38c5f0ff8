"""Small things that pass once where nothing else moves: birds, insects, aircraft."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from stacker.survey.movers import Movers, RootArray

# shares of the picture: a visitor covers at least and at most so much of it
SMALLEST, LARGEST = 1e-4, 0.01
# how far about a visitor nothing else may move, as a share of the longer side
ROOM = 0.05
# share of the pixels about it that may be covered in another frame
OTHERS = 0.03
# how far it stands out, in limits of what is covered: glitter and noise hardly pass theirs
STANDS_OUT = 4.0
# frames in which one visitor is seen at most, and visitors that are told of at most: of more,
# passing is what the burst is about
MOST_FRAMES = 3
MOST_VISITORS = 4


@dataclass(frozen=True)
class Visitor:
    """Something small in one frame: its index, and its box in full-size pixels."""

    index: int
    box: tuple[int, int, int, int]


def find_visitors(frames: Iterable[tuple[int, RootArray]], movers: Movers) -> tuple[Visitor, ...]:
    """Return what passes where nothing else moves; nothing where much passes.

    Parameters
    ----------
    frames : index of a frame and the root of its light, float32 (h, w), evened; all are taken.
    movers : what moves in the burst, of the same size.
    """
    one_frame = 1.0 / max(1, len(movers.of_frame))
    found: list[Visitor] = []
    for index, root in frames:
        if len(found) <= MOST_VISITORS:
            found += [Visitor(index, box) for box in _alone(root, movers, one_frame)]
    few = len(found) <= MOST_VISITORS and len({each.index for each in found}) <= MOST_FRAMES
    return tuple(found) if few else ()


def _alone(root: RootArray, movers: Movers, one_frame: float) -> list[tuple[int, int, int, int]]:
    """Return the boxes of small parts that are covered, about which no other frame is."""
    mask = movers.covered(root)
    height, width = mask.shape
    count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), None)
    room = max(2, round(ROOM * max(height, width)))
    # covered in more frames than this one
    again = movers.cover > 1.5 * one_frame
    elsewhere = (movers.cover > 0) & ~mask | again
    found = []
    for label in range(1, count):
        if not SMALLEST * mask.size <= stats[label, cv2.CC_STAT_AREA] <= LARGEST * mask.size:
            continue
        x, y, w, h = (int(value) for value in stats[label, :4])
        if min(x, y) == 0 or x + w >= width or y + h >= height:
            # the rim of a held frame, or somebody who steps in from aside
            continue
        rows = slice(max(0, y - room), y + h + room)
        columns = slice(max(0, x - room), x + w + room)
        others = elsewhere[rows, columns] | (mask[rows, columns] & (labels[rows, columns] != label))
        own = labels == label
        away = float(np.abs(root - movers.still)[own].mean())
        clear = away > STANDS_OUT * float(movers.limit[own].mean())
        if clear and others.mean() <= OTHERS and not again[own].any():
            scale = movers.scale
            found.append((round(x * scale), round(y * scale), round(w * scale), round(h * scale)))
    return found
