"""A contact sheet: pictures side by side with labels, on a calm grey.

All is laid out in linear light, so that the sheet leaves like any picture: with the profile of the
pictures on it, in any format.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.space import ColourSpace

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont, ImageFont

# the middle of the codes reads as a middle grey in any curve, that of screens above all
GREY_CODE, WHITE_CODE = 0.45, 1.0
# of the whole sheet; a print of it shows 12 pixels to the millimetre on a hand's width
SHEET_WIDTH = 2400
# a label has to fit below a picture however small that is
LEAST_CELL, GREATEST_CELL = 400, 900
COLUMNS = (3, 4, 5)
MARGIN, GAP = 64, 44
TITLE_PX, LABEL_PX, TEXT_PX = 44, 38, 26
LINE_SPACING = 1.4
FRAME_PX = 5


@dataclass(frozen=True, eq=False)
class SheetCell:
    """One picture of a sheet.

    Parameters
    ----------
    light : float32 (h, w, 3), small already; all cells of one size.
    label : in large letters below it.
    aside : at the right end of the same line, in small ones.
    words : below that.
    chosen : whether it gets a frame.
    """

    light: LightArray
    label: str
    aside: str
    words: str
    chosen: bool = False


def cell_size(size: tuple[int, int], count: int) -> tuple[int, int]:
    """Return (width, height) to which each of ``count`` pictures of a size is to be reduced."""
    columns = _columns(count)
    width = (SHEET_WIDTH - 2 * MARGIN - (columns - 1) * GAP) // columns
    width = min(max(width, LEAST_CELL), GREATEST_CELL, size[0])
    return width, max(1, round(size[1] * width / size[0]))


def contact_sheet(
    cells: Sequence[SheetCell], *, title: str, footer: str, space: ColourSpace
) -> LightArray:
    """Return the sheet in the light of the space, float32 (H, W, 3)."""
    height, width = cells[0].light.shape[:2]
    columns = _columns(len(cells))
    pitch = max(width, LEAST_CELL) + GAP
    below = round((LABEL_PX + TEXT_PX) * LINE_SPACING) + GAP
    inner = columns * pitch - GAP
    footer_lines = list(_wrapped(footer, inner, TEXT_PX))
    title_lines = list(_wrapped(title, inner, TITLE_PX))
    top = MARGIN + round(len(title_lines) * TITLE_PX * LINE_SPACING) + GAP // 2
    rows = -(-len(cells) // columns)
    bottom = top + rows * (height + below)
    sheet_height = bottom + round(len(footer_lines) * TEXT_PX * LINE_SPACING) + MARGIN
    grey, white = (float(space.curve.to_light(code)) for code in (GREY_CODE, WHITE_CODE))
    sheet = np.full((sheet_height, inner + 2 * MARGIN, 3), grey, np.float32)
    letters = Letters((sheet.shape[1], sheet_height))
    letters.lines(title_lines, (MARGIN, MARGIN), TITLE_PX)
    for number, cell in enumerate(cells):
        x = MARGIN + number % columns * pitch
        y = top + number // columns * (height + below)
        if cell.chosen:
            edge = slice(y - FRAME_PX, y + height + FRAME_PX)
            sheet[edge, x - FRAME_PX : x + width + FRAME_PX] = white
        sheet[y : y + height, x : x + width] = cell.light
        line = y + height + GAP // 3
        letters.lines([cell.label], (x, line), LABEL_PX)
        end = x + max(width, LEAST_CELL)
        letters.right(cell.aside, (end, line + LABEL_PX - TEXT_PX), TEXT_PX)
        letters.lines([cell.words], (x, line + round(LABEL_PX * LINE_SPACING)), TEXT_PX)
    letters.lines(footer_lines, (MARGIN, bottom), TEXT_PX)
    letters.put_on(sheet, white)
    return sheet


def shrunk(bands: Iterator[LightArray], size: tuple[int, int]) -> LightArray:
    """Return a picture that comes in bands, averaged in light to (width, height), float32.

    A size larger than the picture repeats pixels.
    """
    width, height = size
    # a box is separable: first along the rows, band by band, so that no band waits at full width
    narrow = [
        cv2.resize(band, (width, band.shape[0]), interpolation=cv2.INTER_AREA) for band in bands
    ]
    whole = np.concatenate(narrow)
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), np.float32)


class Letters:
    """A layer of text; drawn as coverage, 0 to 255, then mixed in light."""

    def __init__(self, size: tuple[int, int]) -> None:
        from PIL import Image, ImageDraw

        self._layer = Image.new("L", size, 0)
        self._draw = ImageDraw.Draw(self._layer)

    def lines(self, texts: Sequence[str], place: tuple[int, int], size_px: int) -> None:
        """Write lines below each other, the first with its upper left corner at ``place``."""
        x, y = place
        for number, text in enumerate(texts):
            step = round(number * size_px * LINE_SPACING)
            self._draw.text((x, y + step), text, fill=255, font=_font(size_px))

    def right(self, text: str, place: tuple[int, int], size_px: int) -> None:
        """Write a line that ends at ``place``, its upper right corner."""
        self._draw.text(place, text, fill=255, font=_font(size_px), anchor="ra")

    def put_on(self, sheet: LightArray, white: float) -> None:
        """Lay the text upon a sheet, in place."""
        cover: npt.NDArray[np.float32] = np.asarray(self._layer, np.float32) / np.float32(255)
        sheet += (np.float32(white) - sheet) * cover[:, :, np.newaxis]


def _columns(count: int) -> int:
    """Return how many pictures stand side by side: so that few places stay empty."""
    if count <= 4:
        return 2 if count == 4 else count
    able = [columns for columns in COLUMNS if columns <= -(-count // 2)]
    return min(able, key=lambda columns: (-count % columns, -columns))


def _font(size_px: int) -> FreeTypeFont | ImageFont:
    from PIL import ImageFont

    # the one that Pillow carries with it: the same letters on every machine
    return ImageFont.load_default(size_px)


def _wrapped(text: str, width: int, size_px: int) -> Iterator[str]:
    """Yield the lines of a text, broken at spaces so that each fits into a width."""
    font = _font(size_px)
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and font.getlength(longer) > width:
            yield line
            longer = word
        line = longer
    if line:
        yield line
