"""Luminance: the one number for how bright a pixel is."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray


def greatest_channel(pixels: npt.NDArray[Any]) -> npt.NDArray[Any]:
    """Return the greatest of the three channels of each pixel, (H, W) of the same type.

    As numpy's maximum along an axis of three, which takes seven times as long.
    """
    greatest: npt.NDArray[Any] = np.maximum(pixels[..., 0], pixels[..., 1])
    np.maximum(greatest, pixels[..., 2], out=greatest)
    return greatest


def luminance(
    light: LightArray,
    weights: tuple[float, float, float],
    *,
    out: npt.NDArray[np.float32] | None = None,
) -> npt.NDArray[np.float32]:
    """Return the luminance, float32 (H, W), of linear light.

    Parameters
    ----------
    light : float32 (H, W, 3), linear.
    weights : the share of each channel, the row Y of the space's matrix.
    out : float32 (H, W) to put the result into.

    Notes
    -----
    The only place where channels are weighed into one: a sum of three terms and a matrix
    product round differently in about one pixel of seven, and ties would break differently.

    Source: CIE 15:2018, Y as the linear sum of the primaries' luminances.
    """
    return np.asarray(cv2.transform(light, np.array([weights], np.float32), out))
