"""Which colour space a frame's numbers are in, from its profile, its Exif or numbers for it.

Source: ITU-T H.273, clauses 8.1 (primaries) and 8.2 (transfer curves).
"""

from __future__ import annotations

from functools import lru_cache

from stacker.light.h273 import NAMED_CURVES, SPACE_OF_PRIMARIES, UNSPECIFIED, numbered_space
from stacker.light.hdr import HLG_CURVE, PQ_CURVE
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


def space_of_numbers(primaries: int, curve: int) -> tuple[ColourSpace, tuple[str, ...]]:
    """Return the colour space that H.273 numbers stand for, and what there is to say about it."""
    notes: tuple[str, ...] = ()
    if primaries not in SPACE_OF_PRIMARIES:
        notes += (f"its colour primaries (number {primaries}) are not known; taken as sRGB's",)
        primaries = UNSPECIFIED
    if curve not in NAMED_CURVES:
        notes += (f"its transfer curve (number {curve}) is not known; taken as sRGB's",)
        curve = UNSPECIFIED
    space = numbered_space(primaries, curve)
    if space.curve in (HLG_CURVE, PQ_CURVE):
        notes += (
            f"its light has a high dynamic range ({NAMED_CURVES[curve][0]}); the result keeps all "
            "of it, with a profile by which other programs show an ordinary picture",
        )
    return space, notes


@lru_cache(maxsize=32)
def _space_of_bytes(icc: bytes) -> tuple[ColourSpace, tuple[str, ...]]:
    try:
        return space_of_profile(icc), ()
    except ProfileError as error:
        note = f"the embedded colour profile cannot be used ({error}); taken as sRGB"
        return SRGB, (note,)
