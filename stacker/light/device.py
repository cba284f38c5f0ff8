"""Devices whose profile is more than one curve and a matrix: how their numbers become light."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np

from stacker.light.curves import Curve
from stacker.light.encoding import CODE_MAX, LightArray, PixelArray, light_table
from stacker.light.icc import ProfileError
from stacker.light.space import REC2020, linear_twin

# rows worked on at a time, so that the temporaries stay small
ROWS = 64


@dataclass(frozen=True)
class ChannelCurves:
    """A curve for each of the three channels, as profiles of measured displays have.

    ``name`` is the profile's description.
    """

    name: str
    red: Curve
    green: Curve
    blue: Curve

    def to_light(self, pixels: PixelArray, out: LightArray) -> None:
        """Write linear light into ``out``, float32 (H, W, 3), from codes or scaled numbers."""
        for channel, curve in enumerate((self.red, self.green, self.blue)):
            numbers, light = pixels[..., channel], out[..., channel]
            if pixels.dtype.kind == "f":
                for top in range(0, len(pixels), ROWS):
                    light[top : top + ROWS] = curve.to_light(numbers[top : top + ROWS])
            else:
                top_code = 255 if pixels.dtype == np.uint8 else CODE_MAX
                table = light_table(curve, top_code).astype(np.float32)
                for top in range(0, len(pixels), ROWS):
                    light[top : top + ROWS] = table[numbers[top : top + ROWS]]


@dataclass(frozen=True)
class Tables:
    """An RGB profile of tables, through Little CMS; its light comes in the primaries of Rec. 2020.

    Parameters
    ----------
    name : the profile's description.
    icc : the profile's bytes.

    Raises
    ------
    ProfileError
        Little CMS cannot make sense of the profile.

    Notes
    -----
    Relative colorimetric with black point compensation: white is white, the darkest the device
    can show is black. Both are straight in light, so that a mean of frames stays a mean. Little
    CMS computes in float32 and does not cut what lies outside Rec. 2020: it is below 0 or above 1.
    A frame of 24 megapixels takes some seconds.
    """

    name: str
    icc: bytes = field(repr=False)

    def __post_init__(self) -> None:
        probe = np.zeros((1, 1, 3), np.uint8)
        try:
            self.to_light(probe, np.empty(probe.shape, np.float32))
        except (ValueError, RuntimeError) as error:
            # the library's own error is a RuntimeError
            raise ProfileError("Little CMS cannot make sense of the profile") from error

    def to_light(self, pixels: PixelArray, out: LightArray) -> None:
        """Write linear light of Rec. 2020 into ``out``, float32 (H, W, 3), from RGB numbers."""
        import imagecodecs

        imagecodecs.cms_transform(
            pixels,
            self.icc,
            linear_twin(REC2020).icc,
            colorspace="rgb",
            outcolorspace="rgb",
            intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
            flags=imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION,
            # an array, whatever the library's own notes on types say
            out=cast(Any, out),
        )
