"""Bad places filled in from those around them that see the same colour."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.neighbours import AROUND, Places

BadMask = npt.NDArray[np.bool_]
# fewer sound neighbours than this, and those one period further out are asked too
FEWEST_NEIGHBOURS = 3
# places worked on at a time
BLOCK_PLACES = 1 << 14


def as_blobs(bad: BadMask) -> BadMask:
    """Return the mask with all eight pixels about each bad one.

    Demosaicing and JPEG spread a hot photosite over its neighbours.
    """
    grown = cv2.dilate(bad.astype(np.uint8), np.ones((3, 3), np.uint8))
    return np.asarray(grown).astype(bool)


class Mending:
    """Where the bad places of a picture are, and from where each is filled in.

    Parameters
    ----------
    bad : bool (H, W), True where a place is not to be trusted.
    period : steps to the nearest place of the same colour; 3 for blobs in finished pictures.
    """

    def __init__(self, bad: BadMask, period: int) -> None:
        self.shape = bad.shape
        rows, columns = np.nonzero(bad)
        near, sound = _neighbours(bad, rows, columns, period)
        lonely = sound.sum(axis=1) < FEWEST_NEIGHBOURS
        further, further_sound = _neighbours(bad, rows, columns, 2 * period)
        near = np.concatenate([near, further], axis=1)
        sound = np.concatenate([sound, further_sound & lonely[:, np.newaxis]], axis=1)
        places = rows * bad.shape[1] + columns
        counts = sound.sum(axis=1)
        # places with equally many sound neighbours are filled in together
        self._groups: list[tuple[Places, Places]] = []
        for count in np.unique(counts[counts > 0]):
            of_count = counts == count
            sources = near[of_count][sound[of_count]].reshape(-1, count)
            self._groups.append((places[of_count], sources))

    @property
    def count(self) -> int:
        """How many places are filled in."""
        return sum(len(places) for places, _ in self._groups)

    def mend(self, values: npt.NDArray[Any]) -> None:
        """Fill in the bad places with the median of their sound neighbours, in place.

        Parameters
        ----------
        values : (H, W) or (H, W, 3), codes or light. Each channel for itself.
        """
        if values.shape[:2] != self.shape:
            raise ValueError(f"values of {values.shape[:2]} for places of {self.shape}")
        for places, sources in self._groups:
            for start in range(0, len(places), BLOCK_PLACES):
                block = slice(start, start + BLOCK_PLACES)
                at = np.unravel_index(sources[block], self.shape)
                middle = np.median(values[at], axis=1)
                if values.dtype.kind == "u":
                    middle = np.rint(middle)
                values[np.unravel_index(places[block], self.shape)] = middle


def _neighbours(
    bad: BadMask, rows: Places, columns: Places, period: int
) -> tuple[Places, npt.NDArray[np.bool_]]:
    """Return the eight neighbours of each place as flat places (n, 8), and which are sound."""
    height, width = bad.shape
    steps = np.array(AROUND, np.intp) * period
    down, across = rows[:, np.newaxis] + steps[:, 0], columns[:, np.newaxis] + steps[:, 1]
    inside = (down >= 0) & (down < height) & (across >= 0) & (across < width)
    down, across = np.where(inside, down, 0), np.where(inside, across, 0)
    return down * width + across, inside & ~bad[down, across]
