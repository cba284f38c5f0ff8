"""What a lens out of focus does: a point becomes a disc of even light."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]

# radii between two that are integrated over; and parts of a pixel by which its rim is told
RADII, FINE = 64, 8
# a disc of less than this is a point, px
POINT_PX = 0.3


def disc_kernel(first_px: float, last_px: float) -> FloatArray:
    """Return the mean of even discs whose radius goes from one to another, float32 (n, n), sum 1.

    Convolution is linear, so that one kernel does what all the discs do one after another.
    """
    reach = int(np.ceil(max(first_px, last_px, 0.5))) + 1
    at = (np.arange((2 * reach + 1) * FINE) + 0.5) / FINE - reach - 0.5
    far = np.hypot(at[:, None], at[None])
    kernel = np.zeros((2 * reach + 1, 2 * reach + 1))
    radii = np.unique(np.linspace(first_px, last_px, 2 * RADII + 1)[1::2])
    for radius in radii:
        if radius < POINT_PX:
            kernel[reach, reach] += 1 / len(radii)
            continue
        inside = (far < radius).reshape(2 * reach + 1, FINE, 2 * reach + 1, FINE).mean(axis=(1, 3))
        kernel += inside / inside.sum() / len(radii)
    return np.asarray(kernel / kernel.sum(), np.float32)


def blurred(channel: FloatArray, first_px: float, last_px: float) -> FloatArray:
    """Return one channel of light, float32 (H, W), under a focus that goes from disc to disc.

    Beyond its border the picture is mirrored.
    """
    if max(first_px, last_px) < POINT_PX:
        return channel
    kernel = disc_kernel(first_px, last_px)
    return np.asarray(
        cv2.filter2D(channel, cv2.CV_32F, kernel, borderType=cv2.BORDER_REFLECT_101), np.float32
    )
