"""From light to the whole numbers a file stores.

==================  ========================  ==================================
function            domain                    range
==================  ========================  ==================================
``code_table16``    light, clipped to [0, 1]  codes 0 to 65535
``to_codes16``      light, clipped to [0, 1]  codes 0 to 65535
``to_codes8``       codes 0 to 65535          codes 0 to 255, dithered
==================  ========================  ==================================
"""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import (
    BLOCK_SAMPLES,
    CODE_MAX,
    CodedLight,
    Encoder,
    Picture,
    Uint16Array,
    look_up,
)
from stacker.light.space import ColourSpace

# 16-bit codes to one 8-bit code: 65535 / 255
CODES_PER_STEP = 257
TILE_SIDE = 256
TILE_SEED = 20260101
# where each channel begins in the tile, so that the three do not move together
CHANNEL_SHIFTS = ((0, 0), (101, 173), (197, 67))


def to_codes16(picture: Picture, space: ColourSpace) -> Uint16Array:
    """Return the picture as uint16 (H, W, 3) codes of the space, correctly rounded.

    Parameters
    ----------
    picture : float32 (H, W, 3) linear light or coded light; not changed.
    """
    if isinstance(picture, CodedLight):
        return look_up(picture.codes, code_table16(picture.table, space))
    return Encoder(space.curve).encode(picture)


def code_table16(light: npt.NDArray[np.float64], space: ColourSpace) -> Uint16Array:
    """Return the code of each light value, uint16 of the same shape, rounded in float64.

    NaN becomes 0.
    """
    inside = np.fmin(np.fmax(light, 0.0), 1.0)
    codes = np.rint(space.curve.from_light(inside) * CODE_MAX)
    return np.clip(codes, 0, CODE_MAX).astype(np.uint16)


def to_codes8(codes16: Uint16Array, top_row: int) -> npt.NDArray[np.uint8]:
    """Return the codes brought down to uint8 (H, W, 3), dithered so that their mean is kept.

    Before the division by 257 is rounded down, a number from 0 to 256 is added, each as likely
    as the others. A multiple of 257, which is what an 8-bit code becomes in 16 bits, comes out
    as that very code; every other value is the lower or the upper neighbour in proportion.

    Parameters
    ----------
    codes16 : uint16 (H, W, 3); not changed.
    top_row : the row of the whole picture that the first row is. The dither hangs on it, so
        that bands agree with a picture done at once.

    Notes
    -----
    Rectangular dither of one step: L. Schuchman, "Dither signals and their effect on
    quantization noise", IEEE Trans. Communication Technology 12, 1964,
    doi:10.1109/TCOM.1964.1088973.
    """
    rows, width = codes16.shape[:2]
    tile = _dither_rows(width)
    out = np.empty(codes16.shape, np.uint8)
    step = max(1, BLOCK_SAMPLES // (width * 3))
    start = 0
    while start < rows:
        first = (top_row + start) % TILE_SIDE
        stop = min(rows, start + step, start + TILE_SIDE - first)
        # sums beyond the greatest code stay there, and that code is a multiple of 257
        tile_rows = tile[first : first + stop - start]
        raised = np.asarray(cv2.add(codes16[start:stop], tile_rows), np.uint16)
        out[start:stop] = _divided(raised)
        start = stop
    return out


def _divided(codes: Uint16Array) -> Uint16Array:
    """Return the codes divided by 257, rounded down, having used the argument for its work.

    For every x below 2^16, x // 257 is (x - x // 256) // 256: in 16 bits, without a division.
    """
    codes -= codes >> 8
    codes >>= 8
    return codes


@lru_cache(maxsize=1)
def dither_tile() -> Uint16Array:
    """Return the tile of the dither, uint16 (256, 256), values 0 to 256 equally often.

    A shuffle of evenly spaced levels: no level is missing or favoured over the tile.
    """
    # the one generator whose numbers are promised never to change
    order = np.random.RandomState(TILE_SEED).permutation(TILE_SIDE * TILE_SIDE)
    levels = (2 * order + 1) * CODES_PER_STEP // (2 * order.size)
    return levels.astype(np.uint16).reshape(TILE_SIDE, TILE_SIDE)


@lru_cache(maxsize=1)
def _dither_rows(width: int) -> Uint16Array:
    """Return the tile repeated over a width, uint16 (256, width, 3), shifted by channel."""
    channels = [np.roll(dither_tile(), shift, (0, 1)) for shift in CHANNEL_SHIFTS]
    columns = np.arange(width) % TILE_SIDE
    return np.stack(channels, axis=-1)[:, columns]
