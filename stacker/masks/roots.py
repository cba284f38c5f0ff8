"""Frames as roots of their light, in which noise is about even, a byte a number."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray

ByteArray = npt.NDArray[np.uint8]
Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# light of 1.0 is this code; below 5 % of white, where nights are, a code is less than the noise
CODES = 255
# Of each pixel's values in their order, those that count as the still picture: below the middle,
# where no star is, and above the least, which are darkest by chance.
LOW, HIGH = 0.15, 0.45
BAND_ROWS = 64
# every third pixel along each side is plenty for the noise
SAMPLED = 3
# half of all deviations of a normal distribution are less than this many standard deviations
MIDDLE = 0.6745
# rounding to whole codes alone
LEAST_NOISE = 0.3


def root_codes(light: LightArray) -> ByteArray:
    """Return ``CODES`` times the root of linear light (H, W, 3), uint8 of the same shape."""
    codes = np.empty(light.shape, np.uint8)
    for top in range(0, len(light), BAND_ROWS):
        root = cv2.sqrt(np.maximum(light[top : top + BAND_ROWS], 0))
        cv2.convertScaleAbs(root, dst=codes[top : top + BAND_ROWS], alpha=CODES)
    return codes


@dataclass(frozen=True, eq=False)
class Roots:
    """Some frames of a burst, held to one view.

    Parameters
    ----------
    codes : uint8 (M, h, w, 3), see ``root_codes``.
    weights : the share of each channel in the luminance.
    """

    codes: ByteArray
    weights: tuple[float, float, float]

    @property
    def count(self) -> int:
        """How many frames there are."""
        return len(self.codes)

    @cached_property
    def bright(self) -> ByteArray:
        """One number a pixel, uint8 (M, h, w): channels weighed as in the luminance."""
        bright = np.empty(self.codes.shape[:3], np.uint8)
        for frame, out in zip(self.codes, bright, strict=True):
            cv2.transform(frame, np.array([self.weights], np.float32), out)
        return bright

    @cached_property
    def middle(self) -> Float32Array:
        """The median over the frames of ``bright``, float32 (h, w)."""
        return self._ranked(self.bright, 0.5, 0.5)

    @cached_property
    def still(self) -> Float32Array:
        """What stands still, in colours, float32 (h, w, 3): codes without passing lights."""
        return self._ranked(self.codes, LOW, HIGH)

    @cached_property
    def noise(self) -> float:
        """The standard deviation of the noise of ``bright`` in one frame, in codes."""
        sample = self.bright[:, ::SAMPLED, ::SAMPLED].astype(np.int16)
        apart = np.abs(np.diff(sample, axis=0))
        # whole codes: the median of a few steps says little, the mean of the lesser half more
        limit = np.median(apart) + 1
        middle = float(np.minimum(apart, 2 * limit).mean())
        # the mean of the size of a difference of two normal values is 1.128 deviations
        return max(LEAST_NOISE, middle / 1.128)

    def _ranked(self, values: ByteArray, low: float, high: float) -> Float32Array:
        """Return the mean of values between two shares of their order over the frames."""
        count = len(values)
        first = int(low * (count - 1) + 0.5)
        last = max(first + 1, int(high * (count - 1) + 0.5) + 1)
        ranked = np.empty(values.shape[1:], np.float32)
        for top in range(0, values.shape[1], BAND_ROWS):
            order = np.sort(values[:, top : top + BAND_ROWS], axis=0)
            ranked[top : top + BAND_ROWS] = order[first:last].mean(axis=0, dtype=np.float32)
        return ranked
