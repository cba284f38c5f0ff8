"""One picture laid over another by a share of each pixel, in linear light."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray

# masks are kept as shares of this
WHOLE = 65535
MaskArray = npt.NDArray[np.uint16]
ShareArray = npt.NDArray[np.float32]


def shares(mask: MaskArray) -> ShareArray:
    """Return a mask's shares, float32 of its shape, 0 to 1; its ends exactly."""
    return np.asarray(mask / np.float32(WHOLE), np.float32)


def as_mask(share: npt.ArrayLike) -> MaskArray:
    """Return shares of 0 to 1 as a mask, uint16 of their shape."""
    whole = np.clip(np.asarray(share, np.float32), 0, 1) * np.float32(WHOLE)
    return np.asarray(np.rint(whole), np.uint16)


def mix_over(under: LightArray, over: LightArray, share: ShareArray) -> None:
    """Lay ``over`` on ``under``, which is changed.

    Parameters
    ----------
    under, over : float32 (H, W, 3), linear light.
    share : float32 (H, W), how much of ``over`` shows, 0 to 1.

    Notes
    -----
    Light is mixed, not codes, so a mixed pixel is never brighter or darker than both. Where the
    share is 0 or 1, the pixel is that of one picture to the bit.

    Source: T. Porter and T. Duff, "Compositing Digital Images", SIGGRAPH 1984,
    doi:10.1145/800031.808606, the operator "over" with opaque pictures.
    """
    part = share[:, :, np.newaxis]
    mixed = over - under
    mixed *= part
    mixed += under
    np.copyto(mixed, over, where=part >= 1)
    np.copyto(under, mixed, where=part > 0)


def feathered(mask: MaskArray, width_px: float) -> MaskArray:
    """Return the mask with its edges softened over ``width_px`` pixels, where they stay.

    The edge becomes a ramp whose middle half takes that width, by a Gaussian blur; beyond the
    picture the mask goes on as it is at the border.
    """
    if width_px <= 0:
        return mask
    soft = cv2.GaussianBlur(mask, (0, 0), width_px / 2, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(soft, np.uint16)


def is_hard(mask: MaskArray) -> bool:
    """Return whether a mask is black and white alone."""
    return not bool(np.any((mask > 0) & (mask < WHOLE)))
