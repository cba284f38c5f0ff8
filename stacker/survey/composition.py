"""What the frame is filled with: motion, still detail, and nothing."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.survey.movers import LEAST_SEEN, Movers

PartArray = npt.NDArray[np.uint8]

# parts of the map
OUTSIDE, EMPTY, DETAIL, MOTION = 0, 1, 2, 3
# detail is what a blur of this many pixels of the small copies takes away
DETAIL_PX = 2.0
# detail this near to other detail, in pixels of the small copies, belongs to one thing
GAP_PX = 9
# at the rim, pixels of the small copies, held frames end, and what they end with looks like motion
RIM_PX = 3


@dataclass(frozen=True, eq=False)
class Composition:
    """Shares of the picture, 0 to 1; motion, detail and empty make up the whole.

    Parameters
    ----------
    motion : covered by something that moves in at least one frame.
    moving : covered at any moment, in the mean.
    detail : never covered, and with something to be seen in it.
    empty : never covered, and without detail that stands clear of the noise, such as bare sky.
    parts : uint8 (h, w), where each of them lies: see ``EMPTY``, ``DETAIL``, ``MOTION``.
    """

    motion: float
    moving: float
    detail: float
    empty: float
    parts: PartArray


def composition_of(movers: Movers) -> Composition:
    """Return what the view of a burst is filled with.

    Notes
    -----
    On copies of about 320 pixels along the longer side: a rope against the sky may be too thin.
    """
    known = np.isfinite(movers.still)
    rim = np.ones((2 * RIM_PX + 1, 2 * RIM_PX + 1), np.uint8)
    inside = cv2.erode(known.astype(np.uint8), rim, borderType=cv2.BORDER_CONSTANT, borderValue=0.0)
    known = np.asarray(inside > 0)
    still = np.nan_to_num(movers.still).astype(np.float32)
    touched = known & (movers.cover > 0)
    away = np.abs(still - cv2.GaussianBlur(still, (0, 0), DETAIL_PX))
    # the still copy is a mean of two fifths of the frames and has less noise than one of them
    seen = (away > max(LEAST_SEEN, movers.noise)) & known & ~touched
    # what cars and people leave in the still copy is no detail of its own
    block = np.ones((GAP_PX, GAP_PX), np.uint8)
    closed = cv2.morphologyEx(seen.astype(np.uint8), cv2.MORPH_CLOSE, block) > 0
    parts = np.full(known.shape, EMPTY, np.uint8)
    parts[closed] = DETAIL
    parts[touched] = MOTION
    parts[~known] = OUTSIDE
    count = max(1, int(known.sum()))
    motion, detail = (float((parts == part).sum()) / count for part in (MOTION, DETAIL))
    return Composition(
        motion=motion,
        moving=movers.moving,
        detail=detail,
        empty=max(0.0, 1.0 - motion - detail),
        parts=parts,
    )
