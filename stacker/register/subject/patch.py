"""The part of a frame about the subject."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from stacker.register.geometry import Motion, apply, translation
from stacker.register.scene.grey import Grey, GreyArray, doubled_level, halved
from stacker.register.subject.box import Outline

# pixels kept about where the subject was found, for the fine fit to move in
MARGIN = 10


@dataclass(frozen=True, eq=False)
class Patch:
    """A rectangle of a frame, as registration looks at it; ``left``, ``top`` its first pixel."""

    grey: Grey
    left: int
    top: int

    @property
    def bytes(self) -> int:
        """How much memory it holds."""
        return sum(level.nbytes for level in self.grey.levels) + self.grey.clear.nbytes

    def to_here(self, to_frame: Motion) -> Motion:
        """Return a motion to the frame as one to this patch."""
        return translation(-self.left, -self.top) @ to_frame

    def to_frame(self, to_here: Motion) -> Motion:
        """Return a motion to this patch as one to the frame."""
        return translation(self.left, self.top) @ to_here


def patch_about(frame: Grey, outline: Outline, to_frame: Motion, levels: int) -> Patch | None:
    """Return the part of the frame where the subject should be; None where it is outside.

    Parameters
    ----------
    to_frame : (3, 3) from the outline's rectangle to the frame.
    levels : how many sizes of it are needed.
    """
    width, height = outline.size
    corners = apply(to_frame, [(0, 0), (width - 1, 0), (0, height - 1), (width - 1, height - 1)])
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - MARGIN, 0)
    high = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + MARGIN + 1, frame.size)
    # each of the levels needs some pixels to look at
    if (high - low < 8 * 2**levels).any():
        return None
    left, top = int(low[0]), int(low[1])
    part = (slice(top, int(high[1])), slice(left, int(high[0])))
    # copied: a view would keep the whole frame in memory
    several = [frame.levels[0][part].copy()]
    while len(several) < levels:
        several.append(halved(several[-1]))
    grey = replace(frame, levels=tuple(several), clear=frame.clear[part].copy())
    return Patch(grey, left, top)


def straightened(patch: Patch, outline: Outline, to_frame: Motion) -> tuple[GreyArray, GreyArray]:
    """Return the subject as the template shows it, and 1 where the patch has it.

    Both float32, of the outline's rectangle; 0 where the patch ends.
    """
    motion = patch.to_here(to_frame)
    # linear interpolation from twice the size errs four times less
    twice = np.diag([2.0, 2.0, 1.0]) @ motion
    width, height = patch.grey.size
    value = cv2.warpPerspective(
        doubled_level(patch.grey.levels[0]), twice, outline.size,
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    inside = np.zeros((height, width), np.float32)
    inside[1:-1, 1:-1] = patch.grey.clear[1:-1, 1:-1]
    there = cv2.warpPerspective(
        inside, motion, outline.size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP
    )
    return np.asarray(value, np.float32), np.asarray(there, np.float32)
