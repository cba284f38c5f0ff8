"""How the camera moved: the way of the frame's centre, its turn, and what kind of stand it had."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from stacker.register import BurstMotion, FrameMotion
from stacker.register.geometry import Motion, apply

# tripod: nothing moved; touched: still but for a few moments; handheld: always a little;
# moving: it was carried or turned, as in a pan; unknown: it could not be held to one view
Stand = Literal["tripod", "touched", "handheld", "moving", "unknown"]
# a way through this share of the picture's longer side is no hand's tremor
CARRIED = 0.15
# agreement below which the motion found for a refused frame tells nothing
BELIEVED = 0.3


@dataclass(frozen=True)
class Place:
    """Where a frame looked against the reference.

    ``x_px`` and ``y_px`` say where its centre lies in the reference, from that one's centre, in
    pixels of the full size; ``turn_deg`` how far it is turned, clockwise in the picture.
    """

    x_px: float
    y_px: float
    turn_deg: float

    @property
    def shake_px(self) -> float:
        """How far its centre lies from the reference's."""
        return math.hypot(self.x_px, self.y_px)


def place_of(to_reference: Motion, size: tuple[int, int]) -> Place:
    """Return where the centre of a frame of (width, height) goes, and its turn there."""
    width, height = size
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    # a step to either side is enough to tell the turn of any smooth motion
    points = centre + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    there, across, down = apply(to_reference, points)
    right, below = across - there, down - there
    turn = math.degrees(math.atan2(right[1] - below[0], right[0] + below[1]))
    shift = there - centre
    return Place(float(shift[0]), float(shift[1]), turn)


def places_of(motion: BurstMotion, size: tuple[int, int]) -> list[Place | None]:
    """Return where each frame looked, None where that cannot be told."""
    return [_place(frame, size) for frame in motion.frames]


def _place(frame: FrameMotion, size: tuple[int, int]) -> Place | None:
    if not frame.used and frame.agreement < BELIEVED:
        return None
    return place_of(frame.to_reference, size)


def stand_of(
    motion: BurstMotion | None, places: Sequence[Place | None], size: tuple[int, int]
) -> Stand:
    """Return what the camera stood on, as far as its motion tells."""
    if motion is None:
        return "unknown"
    used = [p for p, f in zip(places, motion.frames, strict=True) if f.used and p is not None]
    if motion.is_still:
        return "tripod"
    if motion.motion_model == "stretches":
        return "touched"
    across = max(p.x_px for p in used) - min(p.x_px for p in used)
    down = max(p.y_px for p in used) - min(p.y_px for p in used)
    return "moving" if math.hypot(across, down) > CARRIED * max(size) else "handheld"


def straightness(places: Sequence[Place | None]) -> float:
    """Return how straight the way of the centre is: from first to last over the whole way, 0 to 1.

    A pan goes straight on; a hand that holds still, or looks about, comes back.
    """
    way = [complex(place.x_px, place.y_px) for place in places if place is not None]
    length = sum(abs(two - one) for one, two in pairwise(way))
    return abs(way[-1] - way[0]) / length if length > 0 else 0.0


def moments_touched(places: Sequence[Place | None], least_px: float = 0.05) -> list[int]:
    """Return the indices of frames of a touched burst that look elsewhere than the one before."""
    moved, before = [], None
    for index, place in enumerate(places):
        if place is None:
            continue
        if before is not None:
            apart = math.hypot(place.x_px - before.x_px, place.y_px - before.y_px)
            if apart > least_px or abs(place.turn_deg - before.turn_deg) > 1e-4:
                moved.append(index)
        before = place
    return moved
