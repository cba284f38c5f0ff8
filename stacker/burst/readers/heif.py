"""HEIC files: 8, 10 and 12 bits, several pictures of one size as several frames.

Sources: ISO/IEC 23008-12 (HEIF), clauses 6.5 (turning by properties of the item, whatever Exif
says) and 6.6 (pictures that belong to others).
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from stacker.burst.colour import FrameColour, colour_of_frame, colour_of_numbers
from stacker.burst.exif import read_exif
from stacker.burst.orientation import UPRIGHT
from stacker.burst.readers.boxes import boxes_are_whole
from stacker.burst.readers.facts import (
    COPY_AGAIN,
    FrameFacts,
    in_short,
    refuse_absurd_size,
    unopened,
)
from stacker.burst.readers.rgb import plain_rgb
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray, Stored

CUT_SHORT = "the HEIC file is cut short"
# what the library and its binding raise over damaged data
DAMAGE: tuple[type[Exception], ...] = (
    ValueError,
    RuntimeError,
    OSError,
    SyntaxError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
)
DAMAGE += (struct.error, MemoryError, OverflowError, NotImplementedError)


class HeifReader:
    """Reads what libheif reads."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of each picture of the first one's size and depth.

        Raises
        ------
        FrameError
            The file is cut short, damaged, or claims an absurd size.
        """
        with _opened(path) as pictures:
            frames = _frames(pictures)
            facts = [_facts(path, picture) for picture in frames]
            if len(frames) < len(pictures):
                note = "pictures of another size or depth than the main one are left out"
                facts[0] = replace(facts[0], notes=(*facts[0].notes, note))
            return facts

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield pictures, uint8 or uint16 (H, W, 3); see ``Reader``."""
        for number in numbers:
            # opened for each: what was decoded is kept as long as the file is open
            with _opened(path) as pictures:
                frames = _frames(pictures)
                if number >= len(frames):
                    why = "a picture in the HEIC file is gone"
                    raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")
                picture = frames[number]
                pixels = plain_rgb(np.asarray(picture), int(picture.info["bit_depth"]), out)
            yield number, pixels


@contextmanager
def _opened(path: Path) -> Iterator[list[Any]]:
    """Give the pictures in a file; what goes wrong inside becomes a FrameError."""
    try:
        import pillow_heif
    except ImportError as error:
        why = "HEIC files need the library pillow-heif"
        remedy = "install it: pip install 'stacker[heif]'"
        raise FrameError(path, why, remedy=remedy, code="library-missing") from error
    _check_whole(path)
    try:
        file = pillow_heif.open_heif(path, convert_hdr_to_8bit=False, hdr_to_16bit=False)
        yield list(file)
    except DAMAGE as error:
        why = f"the HEIC file is damaged ({in_short(error)})"
        raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable") from error


def _check_whole(path: Path) -> None:
    """Refuse a file whose last box ends beyond its end."""
    try:
        with path.open("rb") as stream:
            whole = boxes_are_whole(stream)
    except struct.error:
        whole = False
    except OSError as error:
        raise unopened(path, error) from error
    if not whole:
        raise FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")


def _frames(pictures: list[Any]) -> list[Any]:
    """Return the main picture and those of its size and depth, in the file's order."""
    if not pictures:
        raise ValueError("no picture in it")
    main = next((each for each in pictures if each.info.get("primary")), pictures[0])
    depth = main.info["bit_depth"]
    return [each for each in pictures if each.size == main.size and each.info["bit_depth"] == depth]


def _facts(path: Path, picture: Any) -> FrameFacts:
    """Return the facts of one picture, from its header."""
    width, height = (int(side) for side in picture.size)
    refuse_absurd_size(path, "the HEIC file", (width, height))
    exif = picture.info.get("exif") or None
    # libheif turns the picture itself; what Exif says was true before that
    shot = replace(read_exif(exif), orientation=UPRIGHT)
    colour = _colour(picture)
    notes = colour.notes
    if shot.broken:
        notes += ("the Exif data is damaged and only partly used",)
    if picture.has_alpha:
        notes += ("its transparency is left out",)
    size = (width, height)
    return FrameFacts(size, colour.encoding, shot, exif, notes=notes, guesses=colour.guesses)


def _colour(picture: Any) -> FrameColour:
    """Return what the numbers mean by profile or by the numbers that stand for a space."""
    info = picture.info
    stored: Stored = "uint16" if int(info["bit_depth"]) > 8 else "uint8"
    icc = info.get("icc_profile")
    if isinstance(icc, bytes) and icc:
        return colour_of_frame(icc, stored, gray=str(picture.mode).startswith(("L", "I")))
    numbers = info.get("nclx_profile") or {}
    return colour_of_numbers(
        int(numbers.get("color_primaries", 2)),
        int(numbers.get("transfer_characteristics", 2)),
        stored,
    )


READER = HeifReader()
