"""Places of a picture and those around them that see the same colour.

A period tells where the same colour comes again: 2 on a Bayer sensor, 1 on a monochrome one. In
a finished picture, where a hot pixel is a blob of three by three, 3 is where the blob has ended.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray

Places = npt.NDArray[np.intp]
# the eight neighbours, in periods down and across
AROUND = tuple((down, across) for down in (-1, 0, 1) for across in (-1, 0, 1) if down or across)


def phases(period: int) -> Iterator[tuple[slice, slice]]:
    """Yield the rows and columns of each of the ``period`` x ``period`` interleaved planes."""
    for row in range(period):
        for column in range(period):
            yield slice(row, None, period), slice(column, None, period)


def local_median(values: LightArray, period: int) -> LightArray:
    """Return the median of each place and its eight neighbours of the same colour.

    Parameters
    ----------
    values : float32 (H, W) or (H, W, 3); not changed. Beyond the border the border goes on.
    period : steps to the nearest place of the same colour.
    """
    out = np.empty_like(values)
    for phase in phases(period):
        plane = np.ascontiguousarray(values[phase])
        if plane.size:
            out[phase] = np.reshape(cv2.medianBlur(plane, 3), plane.shape)
    return out


def reflected(places: Places, count: int) -> Places:
    """Return places beyond the ends of a row of ``count`` mirrored back into it.

    The ends themselves are not repeated, so on a Bayer sensor the colour stays the same.
    """
    if count == 1:
        return np.zeros_like(places)
    around = np.abs(places) % (2 * (count - 1))
    mirrored: Places = np.minimum(around, 2 * (count - 1) - around)
    return mirrored


def patches(
    values: npt.NDArray[Any], rows: Places, columns: Places, reach: int
) -> npt.NDArray[Any]:
    """Return what lies about places: (n, 2 reach + 1, 2 reach + 1) and the channels if any."""
    steps = np.arange(-reach, reach + 1)
    down = reflected(rows[:, np.newaxis] + steps, values.shape[0])
    across = reflected(columns[:, np.newaxis] + steps, values.shape[1])
    found: npt.NDArray[Any] = values[down[:, :, np.newaxis], across[:, np.newaxis, :]]
    return found
