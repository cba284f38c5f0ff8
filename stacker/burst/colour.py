"""Which colour space a frame's numbers are in, from its profile, its Exif or numbers for it.

Source: ITU-T H.273, clauses 8.1 (primaries) and 8.2 (transfer curves).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from stacker.light.device import Tables
from stacker.light.embedded import encoding_of_profile
from stacker.light.encoding import Encoding, Stored
from stacker.light.h273 import NAMED_CURVES, SPACE_OF_PRIMARIES, UNSPECIFIED, numbered_space
from stacker.light.hdr import HLG_CURVE, PQ_CURVE
from stacker.light.icc import ProfileError
from stacker.light.space import ADOBE_RGB, SRGB, ColourSpace

# stops from diffuse white to 1.0, the brightest that codes hold (light/hdr.py)
WHITE_STOPS = {HLG_CURVE: 1.9, PQ_CURVE: 5.6}


@dataclass(frozen=True)
class FrameColour:
    """What a frame's numbers mean, and what there is to say about it.

    Parameters
    ----------
    notes : what a person should know, each a clause without a full stop.
    guesses : the same, where nothing sound says what the colours are.
    """

    encoding: Encoding
    notes: tuple[str, ...] = ()
    guesses: tuple[str, ...] = ()


def colour_of_frame(
    icc: bytes | None,
    stored: Stored,
    *,
    gray: bool = False,
    adobe_rgb: bool = False,
    broken: bool = False,
) -> FrameColour:
    """Return what a frame's numbers mean by its profile or, without one, by its Exif.

    Parameters
    ----------
    icc : the embedded profile; equal bytes give one and the same encoding.
    stored : how the numbers are kept.
    gray : whether the picture is gray.
    adobe_rgb : whether the file's Exif says Adobe RGB; counts where no profile is of use.
    broken : whether there is a profile that could not even be taken out of the file.
    """
    without = _without_profile(stored, ADOBE_RGB if adobe_rgb else SRGB)
    if broken:
        why = "the embedded colour profile is damaged or not all there"
        return FrameColour(without, guesses=(why,))
    return _colour_of_bytes(icc, stored, gray, without) if icc else FrameColour(without)


def colour_of_numbers(primaries: int, curve: int, stored: Stored) -> FrameColour:
    """Return what a frame's numbers mean by the H.273 numbers of their space."""
    space, notes = space_of_numbers(primaries, curve)
    return FrameColour(_without_profile(stored, space), notes)


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
            f"its light has a high dynamic range ({NAMED_CURVES[curve][0]}); a result in its own "
            "space keeps all of it and looks ordinary to other programs, one with --space or "
            f"--depth 32 is dark until --exposure {WHITE_STOPS[space.curve]} raises it",
        )
    return space, notes


@lru_cache(maxsize=32)
def _colour_of_bytes(icc: bytes, stored: Stored, gray: bool, without: Encoding) -> FrameColour:
    try:
        encoding = encoding_of_profile(icc, stored, gray=gray)
    except ProfileError as error:
        why = f"the embedded colour profile cannot be used ({error})"
        return FrameColour(without, guesses=(why,))
    if not isinstance(encoding.device, Tables):
        return FrameColour(encoding)
    note = f"its colour profile works by tables; its light is converted to {encoding.space.name}"
    return FrameColour(encoding, (note,))


@lru_cache(maxsize=16)
def _without_profile(stored: Stored, space: ColourSpace) -> Encoding:
    """Return one and the same object for the same answer."""
    return Encoding(stored, space)
