"""Streaks of moving point lights, smooth and with their energy spread along the path.

A lamp of constant power leaves energy in proportion to the time it spends at each place, so a
streak's brightness is power over speed. A path is cut into pieces of equal time, short against
a pixel, and each piece is laid down as a cubic B-spline. That kernel has the same sum, centre and
width (variance 1/3 px^2) wherever it falls between pixels, so a streak shows no beads; a Gaussian
blur then gives the point spread that is wanted.

Source: M. Unser, "Splines: a perfect fit for signal and image processing", IEEE Signal Processing
Magazine 16 (1999), doi:10.1109/79.799930.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.scenes.scene import Light

FloatArray = npt.NDArray[np.float64]

# At half a pixel the B-spline's ripple along the path vanishes (its spectrum is zero there).
PIECE_PX = 0.5
SPLINE_VARIANCE = 1 / 3
# Within a cell of the lattice a lamp's greatest speed may exceed its mean by this factor.
UNEVEN = 1.15
# Pieces laid down at once: bounds the memory of a long exposure of many stars.
BATCH = 100_000


@dataclass(frozen=True)
class Pieces:
    """Short pieces of the paths of many lamps over one exposure.

    ``owner`` is the lamp's index, ``time_s`` the middle of the piece and ``span_s`` its length;
    all of shape (P,).
    """

    owner: npt.NDArray[np.intp]
    time_s: FloatArray
    span_s: FloatArray


def cut_paths(t0: npt.ArrayLike, t1: npt.ArrayLike, speed_px_s: npt.ArrayLike) -> Pieces:
    """Return pieces no longer than half a pixel of the paths of N lamps.

    Parameters
    ----------
    t0, t1 : start and end in seconds, scalars or (N,). A lamp whose end is not after its start
        gives no piece.
    speed_px_s : greatest speed of each lamp over the exposure, (N,), pixels per second.
    """
    speed = np.asarray(speed_px_s, dtype=np.float64)
    start = np.broadcast_to(np.asarray(t0, dtype=np.float64), speed.shape)
    span = np.maximum(np.broadcast_to(np.asarray(t1, dtype=np.float64), speed.shape) - start, 0)
    count = np.where(span > 0, np.maximum(np.ceil(speed * span / PIECE_PX), 1), 0).astype(np.intp)
    owner = np.repeat(np.arange(speed.size), count)
    number = np.arange(owner.size) - np.repeat(np.cumsum(count) - count, count)
    piece_s = span[owner] / count[owner]
    return Pieces(owner, start[owner] + (number + 0.5) * piece_s, piece_s)


def cut_tracks(
    place: Callable[[npt.NDArray[np.intp], FloatArray], tuple[FloatArray, FloatArray]],
    lamps: int,
    t0: float,
    t1: float,
    *,
    cell_s: float,
) -> Pieces:
    """Return pieces of the tracks of lamps that change their speed.

    ``place(owner, time_s)`` gives x and y in pixels of lamp ``owner`` at a time. The speed is
    measured anew in each cell of a fixed time lattice of ``cell_s`` seconds.
    """
    edge = np.arange(np.floor(t0 / cell_s), np.ceil(t1 / cell_s) + 1) * cell_s
    edge = np.clip(edge, t0, t1)
    cells = edge.size - 1
    owner = np.repeat(np.arange(lamps), cells)
    start, end = np.tile(edge[:-1], lamps), np.tile(edge[1:], lamps)
    x0, y0 = place(owner, start)
    x1, y1 = place(owner, end)
    length = np.hypot(x1 - x0, y1 - y0) * UNEVEN
    pieces = cut_paths(start, end, length / np.maximum(end - start, 1e-9))
    return Pieces(owner[pieces.owner], pieces.time_s, pieces.span_s)


def _spline_weights(fraction: FloatArray) -> FloatArray:
    """Return the four cubic B-spline weights, (4, P), at pixels -1, 0, 1, 2 from the floor."""
    f, g = fraction, 1 - fraction
    return np.stack(
        [
            g**3 / 6,
            2 / 3 - f**2 * (2 - f) / 2,
            2 / 3 - g**2 * (2 - g) / 2,
            f**3 / 6,
        ]
    )


class LampLayer:
    """A dark picture on which pieces of streaks are laid down.

    It is wider than the picture by ``margin`` on each side, so that lamps just outside still
    spread their light into it.
    """

    def __init__(self, width: int, height: int, *, margin: int = 8) -> None:
        self.margin = margin
        self._inside = (height, width)
        self._total = np.zeros(((height + 2 * margin) * (width + 2 * margin), 3), np.float32)

    @property
    def _shape(self) -> tuple[int, int]:
        return self._inside[0] + 2 * self.margin, self._inside[1] + 2 * self.margin

    def add(self, x: FloatArray, y: FloatArray, energy: FloatArray) -> None:
        """Lay down P pieces at ``x``, ``y`` (P,) in pixels with ``energy`` (P, 3).

        Energy is light summed over the pixels it falls on. Pieces off the layer are left out.
        """
        for first in range(0, x.size, BATCH):
            part = slice(first, first + BATCH)
            self._add_batch(x[part] + self.margin, y[part] + self.margin, energy[part])

    def _add_batch(self, x: FloatArray, y: FloatArray, energy: FloatArray) -> None:
        rows, columns = self._shape
        kept = (x >= 1) & (x < columns - 2) & (y >= 1) & (y < rows - 2) & (energy.max(axis=1) > 0)
        if not kept.any():
            return
        x, y, energy = x[kept], y[kept], energy[kept]
        left, top = np.floor(x).astype(np.intp), np.floor(y).astype(np.intp)
        across, down = _spline_weights(x - left), _spline_weights(y - top)
        step = np.arange(-1, 3)
        place = (top + step[:, None])[:, None] * columns + (left + step[:, None])[None]
        weight = down[:, None] * across[None]
        # Only the stretch of rows that the pieces touch is summed: most streaks are local.
        low = int(top.min() - 1) * columns
        high = int(top.max() + 3) * columns
        for channel in range(3):
            lamp = (weight * energy[:, channel]).ravel()
            self._total[low:high, channel] += np.bincount(
                place.ravel() - low, lamp, minlength=high - low
            )

    def spread(self, sigma_px: float) -> Light:
        """Return the light of the layer, float32 (H, W, 3), each piece a Gaussian of this sigma.

        The least sigma is that of the spline itself, 0.58 px.
        """
        rows, columns = self._shape
        picture = self._total.reshape(rows, columns, 3)
        rest = sigma_px**2 - SPLINE_VARIANCE
        if rest > 0 and self._total.any():
            blurred = cv2.GaussianBlur(
                picture, (0, 0), float(np.sqrt(rest)), borderType=cv2.BORDER_CONSTANT
            )
            picture = np.asarray(blurred, np.float32).reshape(picture.shape)
        m = self.margin
        return np.ascontiguousarray(picture[m : rows - m, m : columns - m])
