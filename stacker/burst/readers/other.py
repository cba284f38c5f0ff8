"""WebP, BMP and GIF stills: 8 bits, one picture a file.

They come from pictures already worked on, so they are read in the plainest way.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from stacker.burst.colour import colour_of_frame
from stacker.burst.exif import read_exif
from stacker.burst.readers.facts import (
    COPY_AGAIN,
    FrameFacts,
    in_short,
    refuse_absurd_size,
    unopened,
)
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray

# what Pillow raises over damaged data
DAMAGE: tuple[type[Exception], ...] = (
    OSError,
    ValueError,
    SyntaxError,
    EOFError,
    IndexError,
    KeyError,
    struct.error,
)
DAMAGE += (TypeError, MemoryError, OverflowError, RuntimeError)


class OtherReader:
    """Reads what Pillow reads, through imageio."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the first picture in a file.

        Raises
        ------
        FrameError
            The header is damaged or claims an absurd size.
        """
        with _opened(path) as file:
            properties: Any = file.properties(index=0)
            about: dict[str, Any] = file.metadata(index=0, exclude_applied=False)
            count = int(file.properties(index=...).n_images or 1)
        height, width = (int(side) for side in properties.shape[:2])
        refuse_absurd_size(path, "the file", (width, height))
        exif = about.get("exif")
        exif = exif if isinstance(exif, bytes) and exif else None
        icc = about.get("icc_profile")
        shot = read_exif(exif)
        colour = colour_of_frame(icc if isinstance(icc, bytes) else None, "uint8")
        notes = colour.notes
        if shot.broken:
            notes += ("the Exif data is damaged and only partly used",)
        if len(properties.shape) == 3 and properties.shape[2] in (2, 4):
            notes += ("its transparency is left out",)
        if count > 1:
            notes += ("only the first of its pictures is used",)
        size = (width, height)
        return [FrameFacts(size, colour.encoding, shot, exif, notes=notes, guesses=colour.guesses)]

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the picture, uint8 (H, W, 3); see ``Reader``."""
        with _opened(path) as file:
            pixels = np.ascontiguousarray(file.read(index=0, mode="RGB"), dtype=np.uint8)
        for number in numbers:
            yield number, pixels


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """Open a file with imageio's Pillow plugin; what goes wrong inside becomes a FrameError."""
    import imageio.v3 as iio

    try:
        with path.open("rb") as stream, iio.imopen(stream, "r", plugin="pillow") as file:
            yield file
    except PermissionError as error:
        raise unopened(path, error) from error
    except DAMAGE as error:
        raise _damaged(path, error) from error


def _damaged(path: Path, error: Exception) -> FrameError:
    """Return the error for what Pillow refused, in its words where they tell a person something."""
    cause = error.__cause__ or error
    if type(cause).__name__ == "DecompressionBombError":
        why = "the picture claims to have more pixels than any frame has"
        return FrameError(path, why, remedy=COPY_AGAIN, code="frame-too-large")
    words = in_short(cause) or type(cause).__name__
    # imageio's words for a file in which Pillow found nothing name an object of Python
    told = f" ({words})" if "<" not in words else ""
    return FrameError(
        path, f"the picture is damaged{told}", remedy=COPY_AGAIN, code="frame-unreadable"
    )


READER = OtherReader()
