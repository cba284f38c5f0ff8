"""The codes of a sensor inside a raw file: what they mean, and calibrating them in place.

LibRaw hands out the codes that it is going to develop, so what is written there is developed.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from stacker.burst.readers.facts import COPY_AGAIN
from stacker.errors import FrameError
from stacker.light.calibration import MosaicCalibration
from stacker.light.encoding import Uint16Array
from stacker.light.master import Mosaic

if TYPE_CHECKING:
    import rawpy


def white_level(raw: rawpy.RawPy) -> int:
    """Return the code up to which every channel is linear, by the camera's word.

    A channel that stops short of the white level would tint what is burnt out.
    """
    white = int(raw.white_level)
    linear = [int(level) for level in raw.camera_white_level_per_channel or () if level > 0]
    return min([white, *linear])


def codes_of(path: Path, raw: rawpy.RawPy) -> Uint16Array:
    """Return the codes of the sensor's picture, uint16 (H, W), to read and to write.

    Raises
    ------
    FrameError
        The file holds no plain mosaic: several numbers for each place.
    """
    codes = raw.raw_image_visible
    if codes is None or codes.ndim != 2 or codes.dtype != np.uint16:
        raise FrameError(
            path,
            "it holds no plain mosaic of a sensor, so it cannot be calibrated",
            remedy="leave out --dark, --flat, --bias and --hot-pixels mend",
            code="frame-unsupported",
        )
    return codes


def mosaic_of(raw: rawpy.RawPy) -> Mosaic:
    """Return what the codes of a raw file mean."""
    pattern: tuple[tuple[int, ...], ...] = ((0,),)
    if raw.raw_pattern is not None:
        period = len(raw.raw_pattern)
        top, left = raw.sizes.top_margin, raw.sizes.left_margin
        # the pattern begins at the sensor's corner, the picture within
        pattern = tuple(
            tuple(int(raw.raw_color(top + row, left + column)) for column in range(period))
            for row in range(period)
        )
    black = tuple(float(level) for level in raw.black_level_per_channel)
    return Mosaic(pattern, black, float(white_level(raw)))


def calibrate_raw(path: Path, raw: rawpy.RawPy, calibration: MosaicCalibration, white: int) -> None:
    """Calibrate the codes that will be developed.

    Raises
    ------
    FrameError
        The masters are of another size or pattern.
    """
    codes, mosaic = codes_of(path, raw), mosaic_of(raw)
    shape = calibration.shape
    if shape not in (None, codes.shape) or mosaic.pattern != calibration.mosaic.pattern:
        raise FrameError(
            path,
            "its sensor is not laid out as that of the calibration frames",
            remedy=COPY_AGAIN,
            code="frame-mismatch",
        )
    calibration.apply(codes, np.array(mosaic.black_tile, np.float32), white)
