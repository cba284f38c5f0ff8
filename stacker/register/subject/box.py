"""The box that a subject is drawn into, and the part of a picture about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from stacker.errors import OptionError
from stacker.register.geometry import Points, grid_of
from stacker.register.scene.grey import working_factor
from stacker.register.scene.tiles import TILE_PX

# shortest side, in pixels of the copy, at which a subject is still looked at closely enough
FINE_SIDE = 64
# a smaller one has no inside to follow
LEAST_SIDE_PX = 12
# tiles along the shorter side of a box: fewer could not be told from the background one by one
TILES_ALONG = 5
LEAST_TILE_PX = 6
# tiles have no gradient within so many pixels of the template's border (see ``cut_tiles``)
BORDER = 2


class Box(NamedTuple):
    """Left edge, top edge, width and height, in whole pixels."""

    left: int
    top: int
    width: int
    height: int

    @property
    def centre(self) -> tuple[float, float]:
        """The middle, x and y, pixel centres lying at whole numbers."""
        return self.left + (self.width - 1) / 2, self.top + (self.height - 1) / 2


def subject_factor(size: tuple[int, int], box: tuple[float, float, float, float]) -> int:
    """Return the whole factor by which (width, height) is to be reduced to follow the box.

    A small subject in a large picture needs a finer copy than the whole scene does.
    """
    return max(1, min(working_factor(size), int(min(box[2], box[3]) // FINE_SIDE)))


def reduced_box(box: tuple[float, float, float, float], size: tuple[int, int], factor: int) -> Box:
    """Return the box on a copy reduced by ``factor``.

    Parameters
    ----------
    box : x and y of its first pixel, width and height, in full-size pixels.
    size : (width, height) of the full-size picture.

    Raises
    ------
    OptionError
        It reaches beyond the picture, or is too small.
    """
    x, y, width, height = box
    named = "--box " + ",".join(f"{value:g}" for value in box)
    picture = f"{size[0]} x {size[1]} pixels"
    if not all(np.isfinite(box)) or min(width, height) <= 0:
        raise OptionError(
            named, "a box needs a place, and a width and height above 0",
            remedy=f"give X,Y,W,H within the picture of {picture}", code="box-empty",
        )  # fmt: skip
    if x < 0 or y < 0 or x + width > size[0] or y + height > size[1]:
        raise OptionError(
            named, f"the box reaches beyond the picture, which has {picture}",
            remedy="give X,Y,W,H within it, counted from its upper left corner",
            code="box-outside",
        )  # fmt: skip
    left, top = round(x / factor), round(y / factor)
    right, bottom = round((x + width) / factor), round((y + height) / factor)
    # a copy has no part of a cell at its right and lower edges
    right, bottom = min(right, size[0] // factor), min(bottom, size[1] // factor)
    if min(right - left, bottom - top) < LEAST_SIDE_PX:
        least = LEAST_SIDE_PX * factor
        raise OptionError(
            named, "the box is too small to follow what is in it",
            remedy=f"draw it at least {least} pixels wide and high", code="box-small",
        )  # fmt: skip
    return Box(left, top, right - left, bottom - top)


@dataclass(frozen=True)
class Outline:
    """A box and the rectangle about it that whole tiles of ``side`` pixels fill.

    ``around`` is wider than the box by the border that tiles leave free and by what the last tile
    sticks out; it may reach beyond the picture.
    """

    box: Box
    around: Box
    side: int

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the rectangle."""
        return self.around.width, self.around.height

    @property
    def middle(self) -> tuple[float, float]:
        """The middle of the box, in pixels of the rectangle."""
        x, y = self.box.centre
        return x - self.around.left, y - self.around.top

    def points(self) -> Points:
        """Return points spread over the box, in pixels of the rectangle, (N, 2)."""
        corner = (self.box.left - self.around.left, self.box.top - self.around.top)
        return grid_of((self.box.width, self.box.height)) + corner


def outline_of(box: Box) -> Outline:
    """Return the box with the rectangle that its template covers."""
    side = min(TILE_PX, max(LEAST_TILE_PX, min(box.width, box.height) // TILES_ALONG))
    wide, high = -(-box.width // side) * side, -(-box.height // side) * side
    around = Box(
        box.left - (wide - box.width) // 2 - BORDER,
        box.top - (high - box.height) // 2 - BORDER,
        wide + 2 * BORDER,
        high + 2 * BORDER,
    )
    return Outline(box, around, side)
