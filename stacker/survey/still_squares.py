"""Squares of a result in which nothing ever moved: where they lie, and where frames show the same.

What a result kept of the sharpness of its frames, and what noise it lost, can be told only where
both show the same thing.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, apply, to_reduced

ShareArray = npt.NDArray[np.float32]
PixelArray = npt.NDArray[Any]

# a square is judged by so many pixels a side; the margin about it is for filters and for the eye
SIDE, MARGIN = 48, 8
WHOLE = SIDE + 2 * MARGIN
# squares at most, spread evenly: some 500,000 pixels, which tell a noise to half a percent
MOST_SQUARES = 240
# how often a square may be covered and still count as still: as a mean over it, and anywhere in
# it; noise and compression cover a few pixels in some frames
STILL, STILL_ANYWHERE = 0.003, 0.1


def cover_of_result(
    cover: ShareArray, scale: int, to_result: Motion, size: tuple[int, int]
) -> ShareArray:
    """Return how often each spot of a result was covered, float32 (h, w), 0 to 1.

    Parameters
    ----------
    cover : float32, the same for the survey's reference, as in ``Movers``.
    scale : full-size pixels of one of its pixels.
    to_result : takes the reference's full-size pixels to those of the result.
    size : (width, height) of the result; spots that the reference does not show count as covered.
    """
    small = (max(1, size[0] // scale), max(1, size[1] // scale))
    moved = cv2.warpPerspective(
        cover,
        to_reduced(to_result, scale),
        small,
        flags=cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=1.0,
    )
    return np.asarray(moved, np.float32)


def still_squares(cover: ShareArray, scale: int, size: tuple[int, int]) -> list[tuple[int, int]]:
    """Return rows and columns of the corners of still squares with their margins.

    Parameters
    ----------
    cover : as ``cover_of_result`` returns it, with its ``scale`` and ``size``.
    """
    width, height = size
    if width < WHOLE or height < WHOLE:
        return []
    step = max(SIDE, round((width * height / MOST_SQUARES) ** 0.5))
    found = []
    for y in range((height - WHOLE) % step // 2, height - WHOLE + 1, step):
        for x in range((width - WHOLE) % step // 2, width - WHOLE + 1, step):
            rows = slice(y // scale, (y + WHOLE - 1) // scale + 1)
            columns = slice(x // scale, (x + WHOLE - 1) // scale + 1)
            inside = cover[rows, columns]
            if inside.mean() <= STILL and inside.max() <= STILL_ANYWHERE:
                found.append((y, x))
    return found


def places_in_frame(
    corners: Sequence[tuple[int, int]], to_frame: Motion, size: tuple[int, int]
) -> list[tuple[int, int] | None]:
    """Return where a frame of (width, height) shows the squares, by whole pixels.

    None where it does not show all of a square. Whole pixels, because in between lie only means
    of pixels, which have less noise and less detail than the frame has.
    """
    half = (WHOLE - 1) / 2
    if not corners:
        return []
    centres = np.array([(x + half, y + half) for y, x in corners])
    there: list[tuple[int, int] | None] = []
    for x, y in np.rint(apply(to_frame, centres) - half).astype(int).tolist():
        inside = 0 <= x <= size[0] - WHOLE and 0 <= y <= size[1] - WHOLE
        there.append((y, x) if inside else None)
    return there


def cut_squares(
    pixels: PixelArray, corners: Sequence[tuple[int, int] | None]
) -> list[PixelArray | None]:
    """Return copies of the squares at these corners, (WHOLE, WHOLE, 3) each, of one frame."""
    return [
        None if at is None else pixels[at[0] : at[0] + WHOLE, at[1] : at[1] + WHOLE].copy()
        for at in corners
    ]
