"""Which colour space a frame's numbers are in, from its profile or its Exif."""

from __future__ import annotations

from functools import lru_cache

from stacker.light.icc import ProfileError
from stacker.light.space import ADOBE_RGB, SRGB, ColourSpace, space_of_profile


def space_of_frame(
    icc: bytes | None, *, adobe_rgb: bool = False
) -> tuple[ColourSpace, tuple[str, ...]]:
    """Return the colour space of a frame, and what there is to say about it.

    Parameters
    ----------
    icc : the embedded profile; equal bytes give one and the same object.
    adobe_rgb : whether the file's Exif says Adobe RGB; counts where no profile is embedded.
    """
    if icc:
        return _space_of_bytes(icc)
    return (ADOBE_RGB if adobe_rgb else SRGB), ()


@lru_cache(maxsize=32)
def _space_of_bytes(icc: bytes) -> tuple[ColourSpace, tuple[str, ...]]:
    try:
        return space_of_profile(icc), ()
    except ProfileError as error:
        note = f"the embedded colour profile cannot be used ({error}); taken as sRGB"
        return SRGB, (note,)
