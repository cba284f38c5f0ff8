"""Rows of even dots: the strobes of a plane whose steady lamps are too faint."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.planes.lines import CELL_PX, Line

FloatArray = npt.NDArray[np.float32]
Float64Array = npt.NDArray[np.float64]

# a flash stands out by so many standard deviations; so many are looked at, the strongest
LEAST, MOST_DOTS = 6.0, 80
# the least dots of a row; how far apart, px; how exactly each lies where the others say
FEWEST, NEAREST_PX, FARTHEST_SHARE = 5, 6.0, 0.2
OFF_PX, OFF_SHARE = 1.5, 0.06
# larger than this, px of the copy, is no dot
MOST_AREA = 120


def find_dots(excess: FloatArray) -> list[Line]:
    """Return rows of even dots in an excess in standard deviations, float32 (h, w)."""
    strong = (excess > LEAST).astype(np.uint8)
    count, _, stats, centres = cv2.connectedComponentsWithStats(strong, connectivity=8)
    area = stats[1:, cv2.CC_STAT_AREA]
    centres = centres[1:][area <= MOST_AREA]
    if count - 1 < FEWEST or len(centres) < FEWEST:
        return []
    cells = np.rint(centres).astype(np.intp)
    order = np.argsort(-excess[cells[:, 1], cells[:, 0]], kind="stable")[:MOST_DOTS]
    left = np.asarray(centres[order], np.float64)
    farthest = FARTHEST_SHARE * max(excess.shape)
    rows = []
    while len(left) >= FEWEST:
        best = _longest_row(left, farthest)
        if best is None:
            break
        rows.append(_line_of(left[best]))
        left = np.delete(left, best, axis=0)
    return rows


def _longest_row(dots: Float64Array, farthest: float) -> list[int] | None:
    """Return the numbers of the most dots that lie in one even row, in order."""
    best: list[int] = []
    for first in range(len(dots)):
        away = np.linalg.norm(dots - dots[first], axis=1)
        for second in np.flatnonzero((away > NEAREST_PX) & (away < farthest)):
            row = [first, int(second)]
            while (following := _next(dots, row)) is not None:
                row.append(following)
            if len(row) > len(best):
                best = row
    return best if len(best) >= FEWEST else None


def _next(dots: Float64Array, row: list[int]) -> int | None:
    """Return the dot that goes on with a row, None where there is none."""
    # the mean step so far: the first one alone would lead astray
    step = (dots[row[-1]] - dots[row[0]]) / (len(row) - 1)
    off = np.linalg.norm(dots - dots[row[-1]] - step, axis=1)
    nearest = int(np.argmin(off))
    allowed = OFF_PX + OFF_SHARE * float(np.linalg.norm(step))
    return nearest if off[nearest] < allowed and nearest not in row else None


def _line_of(dots: Float64Array) -> Line:
    """Return the line through a row of dots, half a step beyond both ends."""
    step = (dots[-1] - dots[0]) / (len(dots) - 1)
    ends = np.stack([dots[0] - 0.1 * step, *dots, dots[-1] + 0.1 * step])
    far = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(ends, axis=0), axis=1))])
    at = np.linspace(0, far[-1], max(2, round(far[-1] / CELL_PX)))
    return Line(np.stack([np.interp(at, far, ends[:, k]) for k in range(2)], 1), 1.0)
