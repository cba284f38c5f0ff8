"""From linear light to the planes of a video frame: BT.709, limited range, 4:2:0.

Sources: Recommendation ITU-R BT.709-6, items 1.2 (curve), 1.4 (primaries), 3.2 to 3.5 (matrix and
codes of 8 bits); ITU-T H.264 annex E, figure E-1, chroma of type 0: samples lie on every other
luma column and between two rows.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.convert import conversion, convert_light
from stacker.light.encoding import CODE_MAX, Encoder, LightArray
from stacker.light.h273 import rgb_of_ycbcr
from stacker.light.space import BT709, ColourSpace

# the numbers of BT.709 in ITU-T H.273: primaries, curve and matrix have the same
BT709_NUMBER = 1
# codes of 8 bits
LUMA_ZERO, LUMA_SPAN = 16, 219
CHROMA_ZERO, CHROMA_SPAN = 128, 224

PlaneArray = npt.NDArray[np.float32]


def video_planes(light: LightArray, space: ColourSpace) -> npt.NDArray[np.uint8]:
    """Return the codes of Y', Cb and Cr below each other, uint8 (H * 3 // 2, W).

    Parameters
    ----------
    light : float32 (H, W, 3) in the light of ``space``, even height and width; not changed. What
        lies outside BT.709 or is brighter than white is clipped.
    """
    height, width = light.shape[:2]
    if space.to_xyz != BT709.to_xyz:
        converted = np.empty(light.shape, np.float32)
        convert_light(np.ascontiguousarray(light), conversion(space, BT709), out=converted)
        light = converted
    codes = Encoder(BT709.curve).encode(light).astype(np.float32)
    to_ycbcr = np.linalg.inv(rgb_of_ycbcr(BT709_NUMBER)) / CODE_MAX
    ycbcr = np.asarray(cv2.transform(codes, to_ycbcr), np.float32)
    planes = np.empty((height * 3 // 2, width), np.uint8)
    planes[:height] = np.rint(ycbcr[:, :, 0] * LUMA_SPAN + LUMA_ZERO)
    # in memory the smaller planes follow in full rows, as FFmpeg packs them
    quarter = height * width // 4
    rest = planes[height:].reshape(-1)
    for number in (1, 2):
        chroma = _at_chroma_sites(ycbcr[:, :, number]) * CHROMA_SPAN + CHROMA_ZERO
        rest[(number - 1) * quarter : number * quarter] = np.rint(chroma).reshape(-1)
    return planes


def _at_chroma_sites(plane: PlaneArray) -> PlaneArray:
    """Return a plane at a quarter of its pixels: means of two rows, a tent over three columns."""
    rows = (plane[0::2] + plane[1::2]) * np.float32(0.5)
    here, right = rows[:, 0::2], rows[:, 1::2]
    left = np.concatenate((here[:, :1], right[:, :-1]), axis=1)
    return np.asarray((left + here * 2 + right) * np.float32(0.25), np.float32)
