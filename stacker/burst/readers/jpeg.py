"""JPEG files of 8 bits, gray or colour.

Pictures appended behind the first one (previews, gain maps: CIPA DC-007) are not decoded.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from stacker.burst.colour import colour_of_frame
from stacker.burst.exif import read_exif
from stacker.burst.readers.facts import COPY_AGAIN, FrameFacts, in_short, read_whole, unopened
from stacker.burst.readers.jpeg_faults import END, without_faults
from stacker.burst.readers.jpeg_header import CUT_SHORT, read_header
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray

# faults in the header, then stray bytes before the end: the third time all is well
ATTEMPTS = 3


class JpegReader:
    """Reads 8-bit gray and colour JPEG files."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the one frame in a JPEG file.

        Raises
        ------
        FrameError
            The header is damaged, or the picture is CMYK, lossless or of 12 bits.
        """
        try:
            with path.open("rb") as file:
                header = read_header(path, file)
        except OSError as error:
            raise unopened(path, error) from error
        shot = read_exif(header.exif)
        colour = colour_of_frame(
            header.icc,
            "uint8",
            gray=header.gray,
            adobe_rgb=shot.adobe_rgb,
            broken=header.broken_profile,
        )
        notes = colour.notes
        if shot.broken:
            notes += ("the Exif data is damaged and only partly used",)
        if header.gain_map:
            notes += ("its gain map is not used; read as its base picture",)
        return [
            FrameFacts(
                header.size,
                colour.encoding,
                shot,
                header.exif,
                notes=notes,
                guesses=colour.guesses,
            )
        ]

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the picture, uint8 (H, W, 3); see ``Reader``."""
        data = read_whole(path)
        for number in numbers:
            yield number, _decode(path, data, out)

    # what the inverse transform of blocks of 8 pixels can leave out
    factors = (2, 4, 8)

    def decode_small(self, path: Path, factor: int) -> PixelArray:
        """Return the picture at a fraction of its size, uint8; see ``ShrinkingReader``."""
        return _decode(path, read_whole(path), None, factor)


def _decode(path: Path, data: bytes, out: PixelArray | None, factor: int = 1) -> PixelArray:
    """Return the picture whole, reduced by a factor, or raise.

    libjpeg goes on over damage with a mere warning and leaves the rest of the picture gray: every
    warning counts as an error, unless none is left once faults that do no harm are taken out.
    """
    import simplejpeg

    rest = data
    for _ in range(ATTEMPTS):
        try:
            height, width = simplejpeg.decode_jpeg_header(rest)[:2] if factor > 1 else (0, 0)
            pixels = simplejpeg.decode_jpeg(
                rest,
                colorspace="RGB",
                buffer=out,
                min_height=math.ceil(height / factor),
                min_width=math.ceil(width / factor),
            )
            return np.asarray(pixels)
        except ValueError as error:
            cleaned = without_faults(path, rest, str(error))
            if cleaned is None:
                raise _refused(path, data, error) from error
            rest = cleaned
    why = "the JPEG is at fault in several places"
    raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")


def _refused(path: Path, data: bytes, error: ValueError) -> FrameError:
    """Return the error for a picture that libjpeg stumbled over."""
    if data.rstrip(b"\0")[-2:] != END:
        return FrameError(path, CUT_SHORT, remedy=COPY_AGAIN, code="frame-truncated")
    why = f"the JPEG is damaged ({in_short(error)})"
    return FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")


READER = JpegReader()
