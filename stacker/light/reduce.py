"""Smaller copies of a picture, averaged in linear light."""

from __future__ import annotations

import cv2
import numpy as np

from stacker.light.encoding import Encoding, LightArray, PixelArray, decode

# bands keep the full-size light of a large frame out of memory
BAND_CELLS = 16


def reduce_light(pixels: PixelArray, encoding: Encoding, factor: int) -> LightArray:
    """Return light averaged over cells of ``factor`` x ``factor`` pixels, float32 (h, w, 3).

    Parameters
    ----------
    pixels : (H, W, 3) in the given encoding.
    factor : 1 or more. Rows and columns beyond the last whole cell are left out, so the centre
        of reduced pixel (x, y) lies at ``factor * x + (factor - 1) / 2`` of the full picture
        (likewise y).
    """
    h, w = pixels.shape[0] // factor, pixels.shape[1] // factor
    if factor == 1:
        return decode(pixels, encoding)
    out = np.empty((h, w, 3), np.float32)
    for top in range(0, h, BAND_CELLS):
        rows = min(BAND_CELLS, h - top)
        band = pixels[top * factor : (top + rows) * factor, : w * factor]
        light = decode(band, encoding)
        cv2.resize(light, (w, rows), dst=out[top : top + rows], interpolation=cv2.INTER_AREA)
    return out


def reduce_codes(pixels: PixelArray, factor: int) -> PixelArray:
    """Return numbers as stored, averaged over cells of ``factor`` x ``factor`` pixels.

    Parameters
    ----------
    pixels : (H, W, 3) of any encoding; cells as in ``reduce_light``.

    Notes
    -----
    Codes are no light: for estimates of motion alone, never for a picture. A third of the time.
    """
    if factor == 1:
        return pixels.copy()
    h, w = pixels.shape[0] // factor, pixels.shape[1] // factor
    whole = pixels[: h * factor, : w * factor]
    return np.asarray(cv2.resize(whole, (w, h), interpolation=cv2.INTER_AREA))
