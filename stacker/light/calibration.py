"""Taking out of a frame what the camera put in: dark signal, uneven response, bad photosites.

In this order: the dark (or bias) is subtracted, the rest divided by the flat field, bad places
mended. Nothing is cut at black, so that noise below it can average with noise above.

Source: S. B. Howell, Handbook of CCD Astronomy, 2nd edition (2006), section 4.5.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray, Uint16Array
from stacker.light.master import Master, Mosaic
from stacker.light.mending import Mending
from stacker.light.neighbours import phases

# a place where the flat shows less than this of the mean light saw none: noise, not a response
LEAST_GAIN = 0.05
# rows worked on at a time, a multiple of every period there is
BLOCK_ROWS = 48


@dataclass(frozen=True, eq=False)
class MosaicCalibration:
    """What is done to a sensor's codes before they are developed.

    Parameters
    ----------
    mosaic : how the codes of the masters are laid out.
    offset : float32 (H, W), the dark signal above black in codes; None for none.
    gain : float32 (H, W), the response about 1; None for an even one.
    mending : the bad photosites; None for none.
    """

    mosaic: Mosaic
    offset: LightArray | None = None
    gain: LightArray | None = None
    mending: Mending | None = None

    @property
    def shape(self) -> tuple[int, ...] | None:
        """(H, W) of the masters, None where there is none."""
        found = [self.offset, self.gain, self.mending]
        return next((each.shape for each in found if each is not None), None)

    def apply(self, codes: Uint16Array, black: LightArray, white: int) -> None:
        """Change a frame in place.

        Parameters
        ----------
        codes : uint16 (H, W). They keep their black level, and stay whole numbers.
        black : float32 (period, period), the frame's code of no light by row and column.
        white : full photosites, at or above this code, stay as they are: how much light they
            missed nobody knows, and less of it would tint them.
        """
        if self.offset is not None or self.gain is not None:
            period = len(black)
            repeats = (BLOCK_ROWS // period + 1, codes.shape[1] // period + 1)
            level = np.tile(black, repeats)[:BLOCK_ROWS, : codes.shape[1]]
            for top in range(0, len(codes), BLOCK_ROWS):
                rows = slice(top, top + BLOCK_ROWS)
                self._apply_rows(codes, rows, level[: len(codes[rows])], white)
        if self.mending is not None:
            self.mending.mend(codes)

    def _apply_rows(self, codes: Uint16Array, rows: slice, black: LightArray, white: int) -> None:
        signal = codes[rows].astype(np.float32)
        full = codes[rows] >= white
        signal -= black
        if self.offset is not None:
            signal -= self.offset[rows]
        if self.gain is not None:
            signal /= self.gain[rows]
        signal += black
        np.clip(np.rint(signal, out=signal), 0, np.iinfo(np.uint16).max, out=signal)
        np.copyto(codes[rows], signal, where=~full, casting="unsafe")


@dataclass(frozen=True, eq=False)
class LightCalibration:
    """What is done to the light of a finished picture.

    Parameters
    ----------
    offset : float32 (H, W, 3), the dark signal in light; None for none.
    gain : float32 (H, W, 3), the response about 1; None for an even one.
    mending : the bad pixels; None for none.
    """

    offset: LightArray | None = None
    gain: LightArray | None = None
    mending: Mending | None = None

    def apply(self, light: LightArray) -> None:
        """Change a frame in place.

        Parameters
        ----------
        light : float32 (H, W, 3). May come out below 0; what is full (1.0) stays full.
        """
        if self.offset is not None or self.gain is not None:
            for top in range(0, len(light), BLOCK_ROWS):
                rows = slice(top, top + BLOCK_ROWS)
                block = light[rows]
                full = np.where(block >= 1.0, block, np.float32(-np.inf))
                if self.offset is not None:
                    block -= self.offset[rows]
                if self.gain is not None:
                    block /= self.gain[rows]
                np.maximum(block, full, out=block)
        if self.mending is not None:
            self.mending.mend(light)


def dark_signal(
    dark: Master | None, bias: Master | None, *, shutter_s: float | None
) -> tuple[LightArray | None, float]:
    """Return what a frame gathers in the dark, above black, and by what its warmth was scaled.

    Parameters
    ----------
    dark, bias : masters of one shape, either may be missing. With both, the part of the dark that
        grows with time is scaled to the frame's shutter.
    shutter_s : of the frames; None where unknown, and nothing is scaled.
    """
    base = dark or bias
    if base is None:
        return None, 1.0
    signal = above_black(base)
    scale = 1.0
    if dark and bias and dark.shutter_s and shutter_s:
        scale = shutter_s / dark.shutter_s
        if scale != 1.0:
            still = above_black(bias)
            signal = still + np.float32(scale) * (signal - still)
    return signal, scale


def above_black(master: Master) -> LightArray:
    """Return a master's signal above black, float32 of its shape."""
    if master.mosaic is None:
        return master.pixels
    signal = master.pixels.copy()
    for row, levels in enumerate(master.mosaic.black_tile):
        for column, level in enumerate(levels):
            signal[row :: master.mosaic.period, column :: master.mosaic.period] -= level
    return signal


def response(flat: Master, offset: LightArray | None) -> LightArray:
    """Return how each place answers to even light, float32 of the master's shape, mean 1.

    The mean is 1 for each colour of its own: the colour of the light that the flat was taken in
    does not matter.

    Parameters
    ----------
    flat : the master of frames of something even and bright.
    offset : what those frames gathered without light, above black; None for nothing.

    Raises
    ------
    ValueError
        A colour of the flat holds no light.
    """
    signal = above_black(flat)
    if offset is not None:
        signal = signal - offset
    gain = np.empty_like(signal)
    for plane in _colours(flat):
        mean = float(np.mean(signal[plane], dtype=np.float64))
        if not mean > 0:
            raise ValueError("a colour without light")
        gain[plane] = np.maximum(signal[plane] / np.float32(mean), np.float32(LEAST_GAIN))
    return gain


def _colours(master: Master) -> list[tuple[slice, ...]]:
    """Return where each colour of a master lies."""
    if master.mosaic is None:
        return [(slice(None), slice(None), slice(c, c + 1)) for c in range(3)]
    return [phase for phase in phases(master.mosaic.period) if master.pixels[phase].size]


def mean_level(master: Master) -> float:
    """Return the mean of a master above black, as a share of white."""
    signal = float(np.mean(above_black(master), dtype=np.float64))
    if master.mosaic is None:
        return signal
    return signal / (master.mosaic.white - float(np.mean(master.mosaic.black_tile)))


def full_share(flat: Master) -> float:
    """Return the share of a flat that is burnt out, 0 to 1; its shape is lost there."""
    limit: float | npt.NDArray[np.float32] = flat.mosaic.white if flat.mosaic else 1.0
    return float(np.count_nonzero(flat.pixels >= limit)) / flat.pixels.size
