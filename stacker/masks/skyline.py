"""The line that parts sky from ground, one row for each column, by dynamic programming.

Source: R. Bellman, "Dynamic Programming" (1957); finding a skyline as the best path through a
picture's columns follows W.-N. Lie et al., "A robust dynamic programming algorithm to extract
skyline in images for navigation", Pattern Recognition Letters 26 (2005),
doi:10.1016/j.patrec.2004.08.021.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.masks.evidence import Evidence
from stacker.masks.roots import Float32Array

IntArray = npt.NDArray[np.int64]

# An edge begins to count at this many times the noise's, counts in full from there on, and then
# is worth so much: a faint edge that is sure is as good as a strong one behind it.
FAINT, CLEAR, WORTH = 1.5, 2.5, 4.0
# Sky without evidence is unlikely: so many rows of it, as a share of the height, cost one edge.
EMPTY_ROWS = 0.35
# evidence below the line costs no more than this, whatever passes there
MOST_AGAINST = 40.0
# a row up or down from one column to the next, and a leap of any length
STEP, LEAP = 0.15, 6.0


def skyline(edges: Float32Array, evidence: Evidence) -> IntArray:
    """Return the row of the first ground in each column, int64 (w,).

    Parameters
    ----------
    edges : float32 (h, w), see ``long_edges``.
    """
    height = len(edges)
    worth = np.clip((edges - FAINT) / (CLEAR - FAINT), 0, 1) * WORTH
    empty = np.cumsum(~evidence.near, axis=0) * (WORTH / (EMPTY_ROWS * height))
    against = np.minimum(np.cumsum(evidence.seen[::-1], axis=0)[::-1], MOST_AGAINST)
    return _best_path(np.asarray(worth - empty - against, np.float64))


def _best_path(score: npt.NDArray[np.float64]) -> IntArray:
    """Return the row in each column for which scores, less what steps cost, add up to most."""
    height, width = score.shape
    rows = np.arange(height)
    came_from = np.zeros((width, height), np.int32)
    best = score[:, 0]
    for column in range(1, width):
        found, origin = _after_step(best, rows)
        came_from[column] = origin
        best = found + score[:, column]
    path = np.empty(width, np.int64)
    path[-1] = int(np.argmax(best))
    for column in range(width - 1, 0, -1):
        path[column - 1] = came_from[column, path[column]]
    return path


def _after_step(
    best: npt.NDArray[np.float64], rows: IntArray
) -> tuple[npt.NDArray[np.float64], IntArray]:
    """Return for each row the most that any row of the column before leaves after the step, and
    which row that is: in one sweep each way, as steps cost by their length."""
    downwards, from_above = _running(best + STEP * rows)
    downwards -= STEP * rows
    upwards, from_below = _running((best - STEP * rows)[::-1])
    upwards, from_below = upwards[::-1] + STEP * rows, rows[-1] - from_below[::-1]
    found = np.where(downwards >= upwards, downwards, upwards)
    origin = np.where(downwards >= upwards, from_above, from_below)
    top = int(np.argmax(best))
    leap = best[top] - LEAP
    return np.maximum(found, leap), np.where(leap > found, top, origin)


def _running(values: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], IntArray]:
    """Return the greatest value so far at each place, and where it was."""
    most = np.maximum.accumulate(values)
    where = np.maximum.accumulate(np.where(values >= most, np.arange(len(values)), 0))
    return most, where
