"""Which colour space a frame's numbers are in, from its profile, its Exif or numbers for it.

Source: ITU-T H.273, clauses 8.1 (primaries) and 8.2 (transfer curves).
"""

from __future__ import annotations

from functools import lru_cache

from stacker.light.icc import ProfileError
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, SRGB, ColourSpace, space_of_profile

UNSPECIFIED = 2
SPACE_OF_PRIMARIES = {1: SRGB, UNSPECIFIED: SRGB, 12: DISPLAY_P3}
# BT.709, unspecified, BT.601, sRGB: seen as sRGB, as cameras mean them
SRGB_LIKE_CURVES = (1, UNSPECIFIED, 6, 13)


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


def space_of_numbers(primaries: int, curve: int) -> tuple[ColourSpace, tuple[str, ...]]:
    """Return the colour space that H.273 numbers stand for, and what there is to say about it."""
    notes: tuple[str, ...] = ()
    if primaries not in SPACE_OF_PRIMARIES:
        notes += (f"its colour primaries (number {primaries}) are not known; taken as sRGB",)
    if curve not in SRGB_LIKE_CURVES:
        notes += (f"its transfer curve (number {curve}) is not known; taken as sRGB",)
    return SPACE_OF_PRIMARIES.get(primaries, SRGB), notes


@lru_cache(maxsize=32)
def _space_of_bytes(icc: bytes) -> tuple[ColourSpace, tuple[str, ...]]:
    try:
        return space_of_profile(icc), ()
    except ProfileError as error:
        note = f"the embedded colour profile cannot be used ({error}); taken as sRGB"
        return SRGB, (note,)
