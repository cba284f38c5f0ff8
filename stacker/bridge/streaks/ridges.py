"""Ridges of light: where the picture falls off to both sides, to a fraction of a pixel.

Source: C. Steger, "An unbiased detector of curvilinear structures", IEEE Trans. PAMI 20 (1998),
doi:10.1109/34.659930.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float32]

# width of the smoothing in pixels of the level looked at; finer lines than this do not exist
SIGMA_PX = 0.8
# noise of the response to white noise of one: sqrt(3 / (16 pi)) / sigma for the Gaussian
NOISE_GAIN = 0.244 / SIGMA_PX
# how far beyond its pixel a ridge's middle may lie
WITHIN_PX = 0.65
# a ridge's response is at least so much of the light on it: the top of a broad streak is none
LEAST_CURVED = 0.06
# it bends at least so much more across than along: a blob is none, the end of a streak is one
MOST_ROUND = 0.85


@dataclass(frozen=True, eq=False)
class RidgePoints:
    """N points on ridges: place (N, 2) in pixels of the level, direction along the ridge (N, 2) of
    length one (the sign means nothing), and strength (N,), the response in times its noise."""

    place: FloatArray
    along: FloatArray
    strength: FloatArray

    def __len__(self) -> int:
        return len(self.place)

    def only(self, kept: npt.NDArray[np.bool_]) -> RidgePoints:
        """Return the points that are kept."""
        return RidgePoints(self.place[kept], self.along[kept], self.strength[kept])


def find_ridges(excess: FloatArray, noise: FloatArray, least: float) -> RidgePoints:
    """Return points on ridges that are ``least`` times stronger than noise makes them.

    Parameters
    ----------
    excess : light above the background, float32 (h, w).
    noise : its standard deviation in each pixel, as if pixels erred alone, float32 (h, w).
    """
    smooth = cv2.GaussianBlur(excess, (0, 0), SIGMA_PX, borderType=cv2.BORDER_REPLICATE)
    across = np.array([-0.5, 0, 0.5], np.float32)
    twice = np.array([1, -2, 1], np.float32)
    one = np.array([1], np.float32)

    def differ(kx: FloatArray, ky: FloatArray) -> FloatArray:
        return np.asarray(
            cv2.sepFilter2D(smooth, -1, kx, ky, borderType=cv2.BORDER_REPLICATE), np.float32
        )

    xx, yy, xy = differ(twice, one), differ(one, twice), differ(across, across)
    # the lower eigenvalue of the matrix of second derivatives: how much it bends across
    half = (xx - yy) / 2
    root = np.sqrt(half * half + xy * xy)
    bent = root - (xx + yy) / 2
    floor = np.maximum(least * NOISE_GAIN * noise / SIGMA_PX**2,
                       LEAST_CURVED / SIGMA_PX**2 * smooth)  # fmt: skip
    rows, columns = np.nonzero(bent > floor)
    if not len(rows):
        return RidgePoints(*(np.zeros((0, 2), np.float32),) * 2, np.zeros(0, np.float32))
    bend, h, r = bent[rows, columns], half[rows, columns], root[rows, columns]
    angle = 0.5 * np.arctan2(xy[rows, columns], h)
    # that is the axis of the greater eigenvalue, which runs along the ridge
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    slope = np.stack([differ(across, one)[rows, columns], differ(one, across)[rows, columns]], 1)
    off = (slope * normal).sum(axis=1) / bend
    # bend along the ridge, the other eigenvalue
    lengthwise = bend - 2 * r
    kept = (np.abs(off[:, None] * normal).max(axis=1) <= WITHIN_PX) & (
        lengthwise < MOST_ROUND * bend
    )
    place = np.stack([columns, rows], axis=1) + off[:, None] * normal
    strength = bend * SIGMA_PX**2 / (NOISE_GAIN * noise[rows, columns])
    return RidgePoints(
        place[kept].astype(np.float32), along[kept].astype(np.float32), strength[kept]
    )
