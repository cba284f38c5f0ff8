"""Straight streaks, whole or dashed, in what stands out of a frame.

Source: J. Matas, C. Galambos, J. Kittler, "Robust detection of lines using the progressive
probabilistic Hough transform", Computer Vision and Image Understanding 78 (2000),
doi:10.1006/cviu.1999.0831: finds candidates, which are then fitted to the points.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]
Float64Array = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# what stands out by so many standard deviations may lie on a streak
LEAST = 3.0
# lines are looked for among cells of so many px
CELL_PX = 2
# the shortest line, its least votes and its longest break, in cells
SHORTEST, VOTES, BREAK = 12, 9, 5
# share of a line's length that stands out: noise fills no line to a third
LEAST_FILLED = 0.45
# points so far from a line's middle are its own, px; a streak bends as a parabola at most
NEAR_PX, BEND = 2.0, 2
# what is found leaves so many px to either side
CLEARED_PX = 4.0
MOST_LINES = 60
# candidates that are fitted, the longest first, before there is no line left
MOST_TRIED = 30
# as often a line is fitted and followed to its ends
ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Line:
    """A line on the copy: ``places`` (n, 2) px about two apart, and how much of it stands out."""

    places: Float64Array
    filled: float

    @property
    def length(self) -> float:
        """From end to end, px."""
        return float(np.linalg.norm(self.places[-1] - self.places[0]))


def find_lines(excess: FloatArray) -> list[Line]:
    """Return the streaks in an excess in standard deviations, float32 (h, w), longest first."""
    strong = excess > LEAST
    strong &= _in_company(strong)
    rows, columns = np.nonzero(strong)
    points = np.stack([columns, rows], 1).astype(np.float64)
    found: list[Line] = []
    for _ in range(MOST_LINES):
        line = _longest(points, excess.shape)
        if line is None:
            break
        found.append(line)
        points = points[~_beside(points, line.places)]
    return sorted(found, key=lambda line: -line.length)


def _in_company(strong: BoolArray) -> BoolArray:
    """Return which of the points that stand out have another beside them: noise often has none."""
    count = cv2.boxFilter(strong.astype(np.uint8), cv2.CV_16S, (3, 3), normalize=False)
    return np.asarray(count > 1, bool)


def _longest(points: Float64Array, shape: tuple[int, ...]) -> Line | None:
    """Return the line of the longest candidate that turns out to be one."""
    cells = np.zeros((shape[0] // CELL_PX + 1, shape[1] // CELL_PX + 1), np.uint8)
    cells[tuple((points[:, ::-1] // CELL_PX).astype(np.intp).T)] = 255
    lines = cv2.HoughLinesP(cells, 1, np.pi / 360, VOTES, minLineLength=SHORTEST, maxLineGap=BREAK)
    if lines is None:
        return None
    each = np.asarray(lines, np.float64).reshape(-1, 2, 2)
    length = np.linalg.norm(each[:, 1] - each[:, 0], axis=1)
    # a candidate may run from one streak over to another: then a shorter one is right
    for number in np.argsort(-length, kind="stable")[:MOST_TRIED]:
        line = _followed(points, (each[number] + 0.5) * CELL_PX - 0.5)
        if line is not None and line.filled >= LEAST_FILLED:
            return line
    return None


def _followed(points: Float64Array, ends: Float64Array) -> Line | None:
    """Return the line through the points about a candidate, followed to where they end."""
    start = ends[0]
    along = (ends[1] - start) / np.linalg.norm(ends[1] - start)
    across = np.array([-along[1], along[0]])
    far = (points - start) @ along
    off = (points - start) @ across
    low, high = 0.0, float(np.linalg.norm(ends[1] - start))
    bend = np.zeros(BEND + 1)
    for number in range(ROUNDS):
        near = np.abs(off - np.polyval(bend, far)) < (NEAR_PX if number else 2 * NEAR_PX)
        own = near & (far >= low - 1) & (far <= high + 1)
        if own.sum() < SHORTEST // 2:
            return None
        # a short line does not tell how it bends
        degree = BEND if high - low > 8 * SHORTEST else 1
        bend = np.concatenate([np.zeros(BEND - degree), np.polyfit(far[own], off[own], degree)])
        near = np.abs(off - np.polyval(bend, far)) < NEAR_PX
        low, high = _reach(np.sort(far[near]), low, high)
    steps = np.arange(low, high + CELL_PX, CELL_PX)
    if len(steps) < SHORTEST:
        return None
    filled = np.unique((far[near & (far >= low) & (far <= high)] - low) // CELL_PX)
    places = start + steps[:, None] * along + np.polyval(bend, steps)[:, None] * across
    return Line(places, len(filled) / len(steps))


def _reach(far: Float64Array, low: float, high: float) -> tuple[float, float]:
    """Return how far points, in order, go on to both sides of a span without a long break."""
    longest = BREAK * CELL_PX
    for each in far[far > high]:
        if each - high > longest:
            break
        high = float(each)
    for each in far[far < low][::-1]:
        if low - each > longest:
            break
        low = float(each)
    return low, high


def _beside(points: Float64Array, line: Float64Array) -> BoolArray:
    """Return which points lie by a line."""
    start, end = line[0], line[-1]
    length = max(float(np.linalg.norm(end - start)), 1e-9)
    along = (end - start) / length
    far = (points - start) @ along
    # where the line bends, by its nearest place
    place = line[np.clip(np.rint(far / length * (len(line) - 1)), 0, len(line) - 1).astype(np.intp)]
    off = (points - place) @ np.array([-along[1], along[0]])
    inside = (far > -CLEARED_PX) & (far < length + CLEARED_PX)
    return np.asarray(inside & (np.abs(off) < CLEARED_PX), bool)
