"""From the light of one colour space to that of another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from stacker.light.encoding import LightArray
from stacker.light.icc import Matrix
from stacker.light.space import ColourSpace

# three planes and their products stay in the second-level cache
BLOCK_PIXELS = 1 << 14


def conversion(source: ColourSpace, target: ColourSpace) -> Matrix:
    """Return the matrix that takes linear light of one space to that of another.

    Both are relative to D50, so white stays white.
    """
    rows = np.linalg.solve(np.asarray(target.to_xyz), np.asarray(source.to_xyz))
    return tuple((float(r[0]), float(r[1]), float(r[2])) for r in rows)


def convert_light(light: LightArray, matrix: Matrix, *, out: LightArray) -> None:
    """Write ``matrix`` times the light of each pixel into ``out``.

    Parameters
    ----------
    light, out : float32 (H, W, 3), C-contiguous; they may be the same array.

    Notes
    -----
    Written out in single products and sums: library routines for small matrices round the last
    pixels of an array otherwise than the rest, and bands would show in the last digit.
    """
    rows = [[np.float32(number) for number in row] for row in matrix]
    flat, flat_out = light.reshape(-1, 3), out.reshape(-1, 3)
    for start in range(0, len(flat), BLOCK_PIXELS):
        block = slice(start, start + BLOCK_PIXELS)
        # a copy in any case: the block may be written over
        red, green, blue = flat[block].T.copy()
        for channel, (of_red, of_green, of_blue) in enumerate(rows):
            total = red * of_red
            total += green * of_green
            total += blue * of_blue
            flat_out[block, channel] = total


@dataclass(frozen=True)
class IntoOneSpace:
    """Brings the light of frames in other colour spaces into that of the burst.

    A ``Correction``; ``matrices`` are by the frame's place in the burst, none for frames that are
    in its space.
    """

    matrices: Mapping[int, Matrix]

    def __call__(self, light: LightArray, index: int) -> None:
        """Change the light of a frame, float32 (H, W, 3), in place."""
        matrix = self.matrices.get(index)
        if matrix is not None:
            convert_light(light, matrix, out=light)
