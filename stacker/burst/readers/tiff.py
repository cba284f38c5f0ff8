"""TIFF files: 8 and 16 bit codes and float light, every page of the first one's form a frame.

Sources: TIFF 6.0 (Adobe, 1992); its Technical Notes 1 to 3; ICC.1:2022 annex B.2 (tag 34675).
"""

from __future__ import annotations

import logging
import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stacker.burst.colour import FrameColour, colour_of_frame
from stacker.burst.exif import ShotFacts, exif_block_of_tiff, read_tags
from stacker.burst.ifd import open_tags
from stacker.burst.readers.facts import COPY_AGAIN, FrameFacts, in_short, unopened
from stacker.burst.readers.tiff_page import (
    CUT_SHORT,
    check_form,
    check_segments,
    form_of,
    has_alpha,
    is_gray,
    page_pixels,
    stored_form,
)
from stacker.errors import FrameError
from stacker.light.curves import Curve
from stacker.light.encoding import PixelArray

if TYPE_CHECKING:
    import tifffile

ICC_TAG = 34675
# bits, compression, colour model, places and lengths of strips and tiles, channels, number type
FORM_TAGS = (256, 257, 258, 259, 262, 273, 277, 278, 279, 284, 317, 320, 322, 323, 324, 325, 339)
# what tifffile and the codecs behind it raise over damaged data
DAMAGE: tuple[type[Exception], ...] = (
    ValueError,
    IndexError,
    KeyError,
    TypeError,
    OSError,
    OverflowError,
    RuntimeError,
)
DAMAGE += (struct.error, NotImplementedError, MemoryError, ZeroDivisionError, AttributeError)


class TiffReader:
    """Reads TIFF and BigTIFF files."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of each frame in a TIFF file.

        Raises
        ------
        FrameError
            The file is damaged, too large, or of a form that is not read.
        """
        with _opened(path) as (file, pages):
            first = pages[0]
            with path.open("rb") as stream:
                shot, exif = _shot(stream)
            colour = _colour(first, adobe_rgb=shot.adobe_rgb)
            notes = colour.notes
            if shot.broken:
                notes += ("the Exif data is damaged and only partly used",)
            if has_alpha(first):
                notes += ("its transparency is left out",)
            left_out = len(file.pages) - len(pages)
            if left_out:
                notes += (
                    "pages of another size or type than the first (previews, masks) are left out",
                )
            size = (int(first.imagewidth), int(first.imagelength))
            facts = FrameFacts(
                size, colour.encoding, shot, exif, notes=notes, guesses=colour.guesses
            )
            return [facts] * len(pages)

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield pages, uint8, uint16 or float32 (H, W, 3); see ``Reader``."""
        with _opened(path) as (file, pages):
            curve = _curve_of_light(pages[0])
            for number in numbers:
                if number >= len(pages):
                    raise _damaged(path, "a page is gone")
                try:
                    check_segments(path, pages[number], int(file.filehandle.size))
                    pixels = page_pixels(path, pages[number], curve, out)
                except DAMAGE as error:
                    raise _damaged(path, str(error)) from error
                except Exception as error:
                    # each codec has an error class of its own, known only once it is loaded
                    if not type(error).__module__.startswith("imagecodecs"):
                        raise
                    raise _damaged(path, str(error)) from error
                yield number, pixels


def _damaged(path: Path, why: str) -> FrameError:
    why = f"the TIFF is damaged or of a rare sort ({in_short(why)})"
    return FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")


@cache
def _quiet() -> None:
    """Keep tifffile's log, which reports what is reported by an error or borne here."""
    logging.getLogger("tifffile").setLevel(logging.CRITICAL)


@contextmanager
def _opened(path: Path) -> Iterator[tuple[tifffile.TiffFile, list[Any]]]:
    """Open a TIFF file; give it and its pages of the first page's form."""
    import tifffile

    _quiet()
    try:
        file = tifffile.TiffFile(path)
    except OSError as error:
        raise unopened(path, error) from error
    except DAMAGE as error:
        raise _damaged(path, str(error)) from error
    with file:
        try:
            pages = _pages(file)
            if pages:
                _check_directories(path, pages)
                check_form(path, pages[0])
        except DAMAGE as error:
            raise _damaged(path, str(error)) from error
        if not pages:
            raise _damaged(path, "it has no pages")
        yield file, pages


def _pages(file: tifffile.TiffFile) -> list[Any]:
    """Return the pages of the first one's shape and type, reduced copies left out."""
    found: list[Any] = []
    for page in file.pages:
        full: Any = page.aspage()
        if not found or (form_of(full) == form_of(found[0]) and not full.is_reduced):
            found.append(full)
    return found


def _check_directories(path: Path, pages: list[Any]) -> None:
    """Refuse pages whose directory is cut, or whose form tifffile had to guess.

    Raises
    ------
    FrameError
        With code "frame-truncated".
    """
    with path.open("rb") as stream:
        try:
            tags = open_tags(stream)
            lost = any(
                tag in entries and tag not in page.tags
                for page in pages
                for entries in [tags.directory(page.offset, whole=True)]
                for tag in FORM_TAGS
            )
        except struct.error as error:
            raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated") from error
    if lost:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")


def _profile(page: Any) -> bytes | None:
    tag = page.tags.get(ICC_TAG)
    value = tag.value if tag is not None else None
    return value if isinstance(value, bytes) else None


def _colour(page: Any, *, adobe_rgb: bool = False) -> FrameColour:
    return colour_of_frame(
        _profile(page), stored_form(page), gray=is_gray(page), adobe_rgb=adobe_rgb
    )


def _curve_of_light(page: Any) -> Curve | None:
    """Return the curve that a sound profile gives to numbers which else would be light."""
    colour = _colour(page)
    if _profile(page) is None or colour.guesses or not colour.encoding.is_light:
        return None
    return colour.encoding.curve


def _shot(stream: Any) -> tuple[ShotFacts, bytes | None]:
    """Return what the file's own tags say about the shot, and the same as an Exif block."""
    try:
        tags = open_tags(stream)
    except struct.error:
        return ShotFacts(broken=True), None
    return read_tags(tags), exif_block_of_tiff(tags)


READER = TiffReader()
