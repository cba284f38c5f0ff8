"""Hot and dead pixels of a burst: how many there are, and where some of them lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from stacker.light.encoding import Encoding, PixelArray, decode
from stacker.light.fixed_points import FEWEST_FRAMES, FixedPoints
from stacker.light.hot_pixels import Grid

# frames that are looked at, spread evenly over the burst
LOOKED_AT = 6
# of a large frame so many pixels are looked at, in strips spread over its height
MOST_PIXELS, STRIPS = 500_000, 8
# fainter ones drown in the noise of their frame, and nobody sees them
SIGMAS = 6.0
# in a finished picture a hot pixel is a blob that has ended three pixels away
BLOB_PERIOD = 3
# the noise of a frame is no less than a rounding of its darkest shades in 8 bits
LEAST_SIGMA = 0.5 / 255 / 12.92


@dataclass(frozen=True)
class HotPixels:
    """What stands alone in every frame.

    Parameters
    ----------
    places : columns and rows in the picture.
    share : how much of the picture was looked at, 0 to 1.
    """

    places: tuple[tuple[int, int], ...]
    share: float

    @property
    def count(self) -> int:
        """How many the whole picture has, by those that were found."""
        return round(len(self.places) / self.share)


def frames_for(count: int) -> list[int]:
    """Return the indices of the frames to look at; none where they are too few to tell."""
    if count < FEWEST_FRAMES:
        return []
    return sorted({k * (count - 1) // (LOOKED_AT - 1) for k in range(LOOKED_AT)})


def strips_of(size: tuple[int, int]) -> list[slice]:
    """Return the rows to look at in a picture of (width, height)."""
    width, height = size
    if width * height <= MOST_PIXELS:
        return [slice(0, height)]
    each = max(1, MOST_PIXELS // STRIPS // width)
    tops = [round((k + 0.5) * (height - each) / STRIPS) for k in range(STRIPS)]
    return [slice(top, top + each) for top in tops]


def cut_strips(pixels: PixelArray) -> PixelArray:
    """Return the rows of a frame that are looked at, one strip below the other; a copy."""
    strips = strips_of((pixels.shape[1], pixels.shape[0]))
    return np.concatenate([pixels[rows] for rows in strips])


def find_hot_pixels(
    cut: Sequence[PixelArray], size: tuple[int, int], encoding: Encoding
) -> HotPixels | None:
    """Return what stands alone in every frame; None for fewer than four frames.

    Parameters
    ----------
    cut : strips of each frame, as ``cut_strips`` returns them, in ``encoding``.
    size : (width, height) of a whole frame.
    """
    if len(cut) < FEWEST_FRAMES:
        return None
    points = FixedPoints(
        Grid(BLOB_PERIOD, LEAST_SIGMA), partial(decode, encoding=encoding), sigmas=SIGMAS
    )
    for pixels in cut:
        points.add(pixels)
    row_of = np.concatenate([np.arange(rows.start, rows.stop) for rows in strips_of(size)])
    rows, columns = np.nonzero(points.found())
    places = zip(columns.tolist(), row_of[rows].tolist(), strict=True)
    return HotPixels(tuple(places), len(row_of) / size[1])
