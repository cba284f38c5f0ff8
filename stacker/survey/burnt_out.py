"""Where frames are burnt out, place by place: in any of them, in all, or in none."""

from __future__ import annotations

import threading

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import Encoding, PixelArray

ShareArray = npt.NDArray[np.float32]

# the map has so many cells along its longer side: a lamp of one pixel marks a cell
MAP_CELLS = 640


class BurntOut:
    """Counts for each cell of the picture the frames in which a pixel of it is at the limit.

    Frames may come in any order and from several threads.

    Parameters
    ----------
    size : (width, height) of a frame.
    encoding : of the pixels.
    """

    def __init__(self, size: tuple[int, int], encoding: Encoding) -> None:
        self.factor = max(1, -(-max(size) // MAP_CELLS))
        width, height = size
        # a small frame, thinner than a cell, has one all the same
        self._shape = max(1, height // self.factor), max(1, width // self.factor)
        self._limit = 1.0 if encoding.is_light else encoding.top
        self._counts = np.zeros(self._shape, np.int64)
        self._frames = 0
        self._turn = threading.Lock()

    def add(self, pixels: PixelArray) -> None:
        """Count a frame, (H, W, 3) in the encoding; not changed."""
        rows, columns = self._shape
        down, across = pixels.shape[0] // rows, pixels.shape[1] // columns
        # rows first: so memory is read as it lies; numpy is slow along short axes
        lines = pixels[: rows * down].reshape(rows, down, -1)
        lines = lines.max(axis=1) if down > 1 else lines[:, 0]
        cells = lines[:, : columns * across * 3].reshape(rows, columns, -1)
        burnt = np.zeros(self._shape, bool)
        for channel in range(cells.shape[2]):
            burnt |= cells[..., channel] >= self._limit
        with self._turn:
            self._counts += burnt
            self._frames += 1

    @property
    def share(self) -> ShareArray:
        """The share of the frames in which each cell is burnt out, float32 (h, w), 0 to 1."""
        return np.asarray(self._counts / max(1, self._frames), np.float32)

    @property
    def anywhen(self) -> float:
        """The share of cells with a pixel that is burnt out in at least one frame.

        No less than the share of the pixels, and the same where cells are pixels.
        """
        return float(np.mean(self._counts > 0))

    @property
    def always(self) -> float:
        """The share of cells with a pixel at the limit in every frame."""
        return float(np.mean(self._counts == self._frames)) if self._frames else 0.0
