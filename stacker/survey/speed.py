"""How fast things move, as far as they can be followed from one frame to the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

RootArray = npt.NDArray[np.float32]

# pairs of neighbouring frames that are compared at most
MOST_PAIRS = 24
# there and back again, the flow must return within so many pixels of the copies, or this share
# of its way
RETURN_PX, RETURN_SHARE = 0.7, 0.15
# share of what moves that must be followed for its speed to be believed
FOLLOWED = 0.35
# slower than this, in pixels of the copies a frame, is no movement
SLOWEST_PX = 0.25
# side of the cells in which directions are compared, pixels of the copies
CELL = 16
FEWEST_IN_CELL = 20
GREY_LEVELS = 255.0


@dataclass(frozen=True)
class Speed:
    """How things move.

    Parameters
    ----------
    px_per_s : the middle speed, full-size pixels a second; None where things cannot be followed.
    along_lanes : how far all that passes a spot goes the same way, 0 to 1; None likewise.
    followed : the share of what moves that could be followed.
    """

    px_per_s: float | None
    along_lanes: float | None
    followed: float


def measure_speed(
    pairs: Sequence[tuple[RootArray, RootArray]],
    still: RootArray,
    limit: float,
    steps_s: Sequence[float],
    scale: float,
) -> Speed:
    """Return how fast things move before what stands still.

    Parameters
    ----------
    pairs : neighbouring frames, float32 (h, w), root of light, held to one view.
    still : the same without what moves.
    limit : how far a pixel must differ from it to be covered.
    steps_s : seconds from the first to the second of each pair.
    scale : full-size pixels of one of theirs.

    Notes
    -----
    Source: T. Kroeger et al., "Fast optical flow using dense inverse search", ECCV 2016,
    doi:10.1007/978-3-319-46493-0_29, as OpenCV has it.
    """
    flow_of = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    top = GREY_LEVELS / max(float(np.nanmax(still)), 1e-3)
    speeds: list[npt.NDArray[np.float32]] = []
    shape = (still.shape[0] // CELL + 1, still.shape[1] // CELL + 1)
    ways, counts = np.zeros(shape, complex), np.zeros(shape)
    followed = covered = 0
    for (one, two), step_s in zip(pairs, steps_s, strict=True):
        first, second = (
            np.clip(np.nan_to_num(r) * top, 0, 255).astype(np.uint8) for r in (one, two)
        )
        there = flow_of.calc(first, second, None)  # type: ignore[call-overload]
        back = flow_of.calc(second, first, None)  # type: ignore[call-overload]
        moving = np.abs(one - still) > limit
        rows, columns = np.nonzero(moving)
        covered += len(rows)
        if not len(rows) or step_s <= 0:
            continue
        step = there[rows, columns]
        to_x = np.clip(np.rint(columns + step[:, 0]), 0, one.shape[1] - 1).astype(int)
        to_y = np.clip(np.rint(rows + step[:, 1]), 0, one.shape[0] - 1).astype(int)
        length = np.hypot(step[:, 0], step[:, 1])
        off = np.hypot(*(step + back[to_y, to_x]).T)
        good = (off < RETURN_PX + RETURN_SHARE * length) & (length > SLOWEST_PX)
        good &= np.abs(two - still)[to_y, to_x] > limit
        followed += int(good.sum())
        speeds.append(length[good] * np.float32(scale / step_s))
        unit = (step[good, 0] + 1j * step[good, 1]) / length[good]
        cells = (rows[good] // CELL, columns[good] // CELL)
        np.add.at(ways, cells, unit)
        np.add.at(counts, cells, 1)
    share = followed / max(1, covered)
    full = counts >= FEWEST_IN_CELL
    if share < FOLLOWED or not full.any():
        return Speed(None, None, share)
    lanes = float(np.abs(ways[full]).sum() / counts[full].sum())
    return Speed(float(np.median(np.concatenate(speeds))), lanes, share)
