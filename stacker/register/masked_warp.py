"""Resampling frames of which only a part is to be used."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion
from stacker.register.warp import Warp

# where more than this share of the mask's white is meant
MEANT = 0.5


@dataclass(frozen=True, eq=False)
class MaskedWarp(Warp):
    """A warp of a frame that has something to say only where a mask is white.

    Parameters
    ----------
    mask : uint16 (H, W), white what may be used, as the view shows it that the mask was made in.
    to_mask : takes pixels of the frame to that view, (3, 3).

    Notes
    -----
    Of a sky that is held, frames show behind the skyline what is no sky. Light is resampled from
    the whole frame, so that no edge is made; what comes from beyond the mask does not count.
    """

    mask: npt.NDArray[np.uint16] = field(kw_only=True)
    to_mask: Motion = field(kw_only=True)

    @property
    def is_masked(self) -> bool:
        """Whether the frame is silent about some parts that it covers."""
        return True

    def valid(self, top: int, bottom: int) -> npt.NDArray[np.bool_]:
        """Return where the frame has something to say, bool (bottom - top, W)."""
        x = np.arange(self.size[0], dtype=np.float64)
        y = np.arange(top, bottom, dtype=np.float64)[:, None]
        if self.local is not None:
            dx, dy = self.local.at(x, y[:, 0])
            x, y = x - dx, y - dy
        m = self.to_mask @ self.to_frame
        depth = m[2, 0] * x + m[2, 1] * y + m[2, 2]
        there_x = ((m[0, 0] * x + m[0, 1] * y + m[0, 2]) / depth).astype(np.float32)
        there_y = ((m[1, 0] * x + m[1, 1] * y + m[1, 2]) / depth).astype(np.float32)
        meant = cv2.remap(
            self.mask, there_x, there_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        inside = super().valid(top, bottom)
        return np.asarray(inside & (meant > MEANT * np.iinfo(np.uint16).max))
