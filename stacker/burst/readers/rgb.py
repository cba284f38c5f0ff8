"""From what a decoder gives, gray or with transparency and of odd depth, to plain RGB."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from stacker.light.encoding import CODE_MAX, CodeArray, PixelArray, Uint16Array, look_up


def plain_rgb(codes: CodeArray, bits: int, out: PixelArray | None) -> PixelArray:
    """Return RGB, uint8 or uint16 (H, W, 3), C-contiguous.

    Parameters
    ----------
    codes : uint8 or uint16, (H, W) or (H, W, 1 to 4); the second or fourth channel is left out.
    bits : how many of them count; more than eight are spread over sixteen.
    out : filled and returned where it fits deep codes.
    """
    if codes.ndim == 2:
        codes = codes[..., np.newaxis]
    colours = codes[..., :1] if codes.shape[2] < 3 else codes[..., :3]
    if colours.shape[2] == 1:
        colours = np.repeat(colours, 3, axis=2)
    colours = np.ascontiguousarray(colours)
    if colours.dtype != np.uint16:
        return colours
    fits = out is not None and out.shape == colours.shape and out.dtype == colours.dtype
    return look_up(colours, _full_range(bits), out=out if fits else None)


@lru_cache(maxsize=4)
def _full_range(bits: int) -> Uint16Array:
    """Return for each code of ``bits`` bits that of 16 bits, rounded: the top becomes the top."""
    top = (1 << bits) - 1
    codes = np.arange(CODE_MAX + 1, dtype=np.int64).clip(0, top)
    return ((codes * CODE_MAX + top // 2) // top).astype(np.uint16)
