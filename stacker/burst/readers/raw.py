"""Raw files, developed into 16-bit codes of linear light with sRGB primaries.

Nothing is measured on the single frame: white balance and scale are the burst's, so that light
which was twice as bright comes out twice as bright in whichever frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from stacker.burst.exif import ShotFacts
from stacker.burst.readers.facts import (
    COPY_AGAIN,
    Development,
    FrameFacts,
    in_short,
    refuse_absurd_size,
    unopened,
)
from stacker.burst.readers.raw_codes import calibrate_raw, white_level
from stacker.burst.readers.raw_container import check_whole, read_shot
from stacker.errors import FrameError
from stacker.light.curves import LINEAR
from stacker.light.encoding import Encoding, PixelArray
from stacker.light.space import SRGB

if TYPE_CHECKING:
    import rawpy

ENCODING = Encoding("uint16", SRGB, LINEAR)
CONVERT = "convert it to 16-bit TIFF"
# LibRaw's flip is three bits: mirror columns, mirror rows, exchange both
ORIENTATION_OF_FLIP = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
STRETCHED = 0.01


@dataclass(frozen=True)
class RawReader:
    """Reads what LibRaw reads.

    Parameters
    ----------
    chosen : how frames are developed; None for each frame's own way.
    half : whether 2 x 2 places of the sensor become one pixel, for previews.
    """

    chosen: Development | None = None
    half: bool = False

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of the one frame in a raw file.

        Raises
        ------
        FrameError
            The file is cut short, damaged, or of a camera that LibRaw does not know.
        """
        with opened_raw(path) as raw:
            sizes = raw.sizes
            size = (int(sizes.width), int(sizes.height))
            _check_form(path, size, float(sizes.pixel_aspect))
            shot, exif = _shot(path, raw)
        shot = replace(shot, orientation=ORIENTATION_OF_FLIP.get(int(sizes.flip), 1))
        if self.half:
            size = ((size[0] + 1) // 2, (size[1] + 1) // 2)
        notes = ("the Exif data is damaged and only partly used",) if shot.broken else ()
        return [FrameFacts(size, ENCODING, shot, exif, notes=notes)]

    def development(self, path: Path) -> Development:
        """Return the white balance the camera chose and the levels it states."""
        with opened_raw(path) as raw:
            return _development(path, raw)

    def developing(self, development: Development) -> RawReader:
        """Return a reader that develops every frame in one given way."""
        return replace(self, chosen=development)

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield the picture, uint16 (H, W, 3) linear codes; see ``Reader``."""
        if not numbers:
            return
        with opened_raw(path) as raw:
            development = self.chosen or _development(path, raw)
            if development.calibration is not None:
                calibrate_raw(path, raw, development.calibration, development.white)
            pixels = _developed(raw, development, half=self.half)
        if not pixels.any():
            raise _black(path, calibrated=development.calibration is not None)
        for number in numbers:
            yield number, pixels


def _black(path: Path, *, calibrated: bool) -> FrameError:
    why, remedy = "the raw file holds nothing but black", COPY_AGAIN
    if calibrated:
        why = "nothing is left of it once the darks are subtracted"
        remedy = "take darks with the lens cap on"
    return FrameError(path, why, remedy=remedy, code="frame-black")


@contextmanager
def opened_raw(path: Path) -> Iterator[rawpy.RawPy]:
    """Open a raw file that is whole; what goes wrong with it becomes a FrameError."""
    try:
        import rawpy
    except ImportError as error:
        why = "raw files need the library rawpy"
        remedy = "install it: pip install 'stacker[raw]'"
        raise FrameError(path, why, remedy=remedy, code="library-missing") from error
    try:
        with path.open("rb") as file:
            check_whole(path, file)
    except OSError as error:
        raise unopened(path, error) from error
    try:
        with rawpy.imread(str(path)) as raw:
            yield raw
    except rawpy.LibRawFileUnsupportedError as error:
        why = "it is no raw file, or of a camera that is not known"
        raise FrameError(path, why, remedy=CONVERT, code="frame-unsupported") from error
    # rawpy raises plain ValueError where a part of the file is not there at all
    except (rawpy.LibRawError, OSError, ValueError, MemoryError) as error:
        words = error.args[0] if error.args else error
        words = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
        why = f"the raw file is damaged or cut short ({in_short(words)})"
        raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable") from error


def _check_form(path: Path, size: tuple[int, int], aspect: float) -> None:
    """Refuse what has no pixels, too many, or such as are not square."""
    refuse_absurd_size(path, "the raw file", size)
    if abs(aspect - 1) > STRETCHED:
        why = "the camera's pixels are not square"
        raise FrameError(path, why, remedy=CONVERT, code="frame-unsupported")


def _shot(path: Path, raw: rawpy.RawPy) -> tuple[ShotFacts, bytes | None]:
    """Return what the file says about the shot, or what LibRaw made of it."""
    with path.open("rb") as file:
        found = read_shot(path, file)
    if found is not None:
        return found
    about: Any = raw.other
    shutter = float(about.shutter_speed)
    taken = about.timestamp if about.timestamp.year > 1970 else None
    sound = math.isfinite(shutter) and shutter > 0
    return ShotFacts(taken=taken, shutter_s=shutter if sound else None), None


def _development(path: Path, raw: rawpy.RawPy) -> Development:
    """Return the camera's white balance, else that of daylight, and its levels."""
    for said in (raw.camera_whitebalance, raw.daylight_whitebalance):
        red, green, blue, second = (float(value) for value in said)
        if min(red, green, blue) > 0 and math.isfinite(red + green + blue):
            break
    else:
        red = green = blue = second = 1.0
    black = min(int(level) for level in raw.black_level_per_channel)
    white = white_level(raw)
    if white <= black:
        why = f"the raw file says that white ({white}) is no brighter than black ({black})"
        raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable")
    return Development((red, green, blue, second if second > 0 else green), black, white)


def _developed(raw: rawpy.RawPy, development: Development, *, half: bool) -> PixelArray:
    """Return the picture as it lies on the sensor, uint16 (H, W, 3) linear codes."""
    import rawpy

    blend = development.highlights == "blend"
    pixels = raw.postprocess(
        user_wb=list(development.white_balance),
        # counted from the black level, which LibRaw takes from each file
        user_sat=development.white - development.black,
        adjust_maximum_thr=0.0,
        no_auto_bright=True,
        gamma=(1, 1),
        output_bps=16,
        output_color=rawpy.ColorSpace.sRGB,
        highlight_mode=rawpy.HighlightMode.Blend if blend else rawpy.HighlightMode.Clip,
        demosaic_algorithm=rawpy.DemosaicAlgorithm.AHD,
        half_size=half,
        user_flip=0,
    )
    if pixels.shape[2] == 1:
        pixels = np.repeat(pixels, 3, axis=2)
    return np.ascontiguousarray(pixels, np.uint16)


READER = RawReader()
HALF_READER = RawReader(half=True)
