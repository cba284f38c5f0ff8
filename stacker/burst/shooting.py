"""How the camera was set for one frame: aperture, sensitivity, lens, what it chose by itself.

Source: CIPA DC-008 (Exif 3.0), clauses 4.6.6.3 to 4.6.6.8.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass

from stacker.burst.exif import EXIF_IFD, read_exif
from stacker.burst.ifd import Entry, TagFile, open_block

F_NUMBER, FLASH, FOCAL_LENGTH = 33437, 37385, 37386
EXPOSURE_MODE, WHITE_BALANCE, LENS_MODEL = 41986, 41987, 42036
AUTO = 0
# bit of the flash tag that says that it fired
FIRED = 1


@dataclass(frozen=True)
class ShotSettings:
    """What Exif says of how one frame was taken; None or "" where it says nothing.

    ``auto_exposure`` and ``auto_white`` are whether the camera chose by itself, ``flash`` whether
    its flash fired.
    """

    shutter_s: float | None = None
    iso: float | None = None
    f_number: float | None = None
    focal_mm: float | None = None
    camera: str = ""
    lens: str = ""
    auto_exposure: bool | None = None
    auto_white: bool | None = None
    flash: bool | None = None


def read_settings(block: bytes | None) -> ShotSettings:
    """Return how the camera was set, from a raw Exif block; what cannot be read stays unknown."""
    facts = read_exif(block)
    told = ShotSettings(shutter_s=facts.shutter_s, iso=facts.iso, camera=facts.camera)
    if not block or facts.broken:
        return told
    try:
        tags = open_block(block)
        first = tags.directory(tags.first)
        offset = tags.whole(first, EXIF_IFD)
        shot = tags.directory(offset) if offset is not None else {}
    except (struct.error, OSError, OverflowError):
        return told
    flash = tags.whole(shot, FLASH)
    return ShotSettings(
        shutter_s=facts.shutter_s,
        iso=facts.iso,
        f_number=_positive(tags, shot, F_NUMBER),
        focal_mm=_positive(tags, shot, FOCAL_LENGTH),
        camera=facts.camera,
        lens=tags.text(shot, LENS_MODEL),
        auto_exposure=_is_auto(tags, shot, EXPOSURE_MODE),
        auto_white=_is_auto(tags, shot, WHITE_BALANCE),
        flash=None if flash is None else bool(flash & FIRED),
    )


def _positive(tags: TagFile, shot: dict[int, Entry], tag: int) -> float | None:
    number = tags.number(shot, tag)
    return number if number is not None and 0 < number < math.inf else None


def _is_auto(tags: TagFile, shot: dict[int, Entry], tag: int) -> bool | None:
    choice = tags.whole(shot, tag)
    return None if choice is None else choice == AUTO
