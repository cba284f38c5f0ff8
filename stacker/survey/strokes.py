"""Light painting: in which frames the lamp was lit, pass by pass."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# the scene without the lamp: a pixel may be lit in three quarters of the frames
UNLIT_QUANTILE = 0.25
# light above that, 1.0 being white, that is the lamp's; and in at least so many pixels of the copy
LIT, LEAST_PIXELS = 0.02, 4
# a lamp that is lit this far from where it was, as a share of the longer side, was carried there
# in the dark
JUMP = 0.2


@dataclass(frozen=True)
class Stroke:
    """One pass of the lamp: its ``first``, ``peak`` and ``last`` frame, counted from 0.

    ``brightness`` is the light that it added at its peak, mean over the picture; ``extent`` the
    share of the picture that it lit in all.
    """

    first: int
    peak: int
    last: int
    brightness: float
    extent: float

    @property
    def frames(self) -> range:
        """All of its frames."""
        return range(self.first, self.last + 1)


def find_strokes(frames: FloatArray) -> list[Stroke]:
    """Return the passes of a lamp, in order.

    A pass ends where the lamp goes out for a frame, or comes on far from where it was.

    Parameters
    ----------
    frames : float32 (N, h, w), the light of frames that lie still; the brightest channel.
    """
    added = frames - np.quantile(frames, UNLIT_QUANTILE, axis=0).astype(np.float32)
    lit = added > LIT
    shines = lit.sum(axis=(1, 2)) >= LEAST_PIXELS
    strokes: list[Stroke] = []
    first: int | None = None
    for number in range(len(frames) + 1):
        on = number < len(frames) and bool(shines[number])
        if first is not None and (not on or _jumps(lit[number - 1], lit[number])):
            strokes.append(_stroke(added, lit, first, number - 1))
            first = None
        if on and first is None:
            first = number
    return strokes


def _jumps(before: BoolArray, after: BoolArray) -> bool:
    """Return whether no light of a frame is near to that of the frame before."""
    away = cv2.distanceTransform(1 - before.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    nearest = float(np.asarray(away)[after].min())
    return bool(nearest > JUMP * max(before.shape))


def _stroke(added: FloatArray, lit: BoolArray, first: int, last: int) -> Stroke:
    strength = np.maximum(added[first : last + 1], 0).mean(axis=(1, 2))
    peak = int(np.argmax(strength))
    extent = float(lit[first : last + 1].any(axis=0).mean())
    return Stroke(first, first + peak, last, float(strength[peak]), extent)
