"""What a camera wrote beside the picture: when, how long, which way up, which camera.

Source: CIPA DC-008 (Exif 3.0), clauses 4.6.5 and 4.6.6; JEITA CP-3461 (DCF 2.0) for the
interoperability index "R03", which stands for Adobe RGB.
"""

from __future__ import annotations

import math
import struct
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone

from stacker.burst.ifd import EXIF_PREFIX, TYPE_SIZES, Entry, TagFile, open_block
from stacker.burst.orientation import UPRIGHT

MAKE, MODEL, ORIENTATION, DATE_TIME, EXIF_IFD = 271, 272, 274, 306, 34665
EXPOSURE_TIME, DATE_TIME_ORIGINAL, OFFSET_TIME_ORIGINAL = 33434, 36867, 36881
SUBSEC_TIME_ORIGINAL, INTEROP_IFD, MAKER_NOTE, OFFSET_TIME, SUBSEC_TIME = (
    37521,
    40965,
    37500,
    36880,
    37520,
)
INTEROP_INDEX = 1
# beyond what its two bytes hold, the first says 65535 and one of the others the number
SENSITIVITIES, SENSITIVITY_TOP = (34855, 34867, 34866), 65535
SOFTWARE = 305
# what describes the shot; the rest of a TIFF's first directory describes the file
DESCRIPTIVE = (270, MAKE, MODEL, DATE_TIME, SOFTWARE, 315, 33432)
# nothing in a lifetime of photography is open for longer
LONGEST_SHUTTER_S = 1e6


@dataclass(frozen=True)
class ShotFacts:
    """What Exif says about one frame.

    ``fine`` is whether the time has a part below one second; ``adobe_rgb`` whether the file
    says that its numbers are Adobe RGB; ``broken`` whether the block could not be read.
    """

    orientation: int = UPRIGHT
    camera: str = ""
    taken: datetime | None = None
    fine: bool = False
    shutter_s: float | None = None
    iso: float | None = None
    adobe_rgb: bool = False
    software: str = ""
    broken: bool = False


def read_exif(block: bytes | None) -> ShotFacts:
    """Return what a raw Exif block says; a damaged block gives ``broken`` facts, no error."""
    if not block:
        return ShotFacts()
    try:
        tags = open_block(block)
    except struct.error:
        return ShotFacts(broken=True)
    return read_tags(tags)


def read_tags(tags: TagFile) -> ShotFacts:
    """Return what the first directory of a tag file and its Exif directory say."""
    try:
        first = tags.directory(tags.first)
    except (struct.error, OSError, OverflowError):
        return ShotFacts(broken=True)
    shot, broken = _directory_at(tags, tags.whole(first, EXIF_IFD))
    taken, fine = _taken(tags, first, shot)
    turned = tags.whole(first, ORIENTATION)
    facts = ShotFacts(
        orientation=turned if turned is not None and 1 <= turned <= 8 else UPRIGHT,
        camera=_camera(tags.text(first, MAKE), tags.text(first, MODEL)),
        taken=taken,
        fine=fine,
        shutter_s=_shutter(tags.number(shot, EXPOSURE_TIME)),
        iso=_iso(tags, shot),
        software=tags.text(first, SOFTWARE),
        broken=broken,
    )
    interop, _ = _directory_at(tags, tags.whole(shot, INTEROP_IFD))
    return replace(facts, adobe_rgb=tags.text(interop, INTEROP_INDEX) == "R03")


def exif_block_of_tiff(tags: TagFile) -> bytes | None:
    """Return a raw Exif block with what a TIFF file says about the shot, None where nothing.

    Values are copied byte for byte in the file's own byte order. The maker's note and
    directories further down are left out: they hold places in the old file.
    """
    try:
        first = tags.directory(tags.first)
    except (struct.error, OSError, OverflowError):
        return None
    shot, _ = _directory_at(tags, tags.whole(first, EXIF_IFD))
    describing = _values(tags, {tag: first[tag] for tag in DESCRIPTIVE if tag in first})
    shooting = _values(
        tags, {tag: shot[tag] for tag in shot if tag not in (MAKER_NOTE, INTEROP_IFD)}
    )
    if not describing and not shooting:
        return None
    head = (b"II" if tags.order == "<" else b"MM") + struct.pack(tags.order + "HI", 42, 8)
    if shooting:
        size = 2 + 12 * (len(describing) + 1) + 4
        size += sum(_stored(len(data)) for _, _, data in describing.values())
        pointer = struct.pack(tags.order + "I", 8 + size)
        describing[EXIF_IFD] = (4, 1, pointer)
    block = head + _directory_bytes(describing, tags.order, 8)
    if shooting:
        block += _directory_bytes(shooting, tags.order, len(block))
    return EXIF_PREFIX + block


_Value = tuple[int, int, bytes]


def _values(tags: TagFile, entries: dict[int, Entry]) -> dict[int, _Value]:
    """Return type, count and bytes of each entry that a plain Exif block can hold."""
    found = {}
    for tag, entry in entries.items():
        if entry.kind not in TYPE_SIZES or entry.kind > 12:
            continue
        try:
            found[tag] = (entry.kind, entry.count, tags.raw(entry))
        except (struct.error, OSError, OverflowError):
            continue
    return found


def _stored(size: int) -> int:
    """Return how many bytes a value takes beside its entry: none up to four, else even."""
    return 0 if size <= 4 else size + size % 2


def _directory_bytes(values: dict[int, _Value], order: str, offset: int) -> bytes:
    """Return a directory that lies at a byte offset, its longer values behind it."""
    table = struct.pack(order + "H", len(values))
    place = offset + 2 + 12 * len(values) + 4
    body = b""
    for tag in sorted(values):
        kind, count, data = values[tag]
        if _stored(len(data)):
            inline = struct.pack(order + "I", place + len(body))
            body += data + b"\0" * (len(data) % 2)
        else:
            inline = data.ljust(4, b"\0")
        table += struct.pack(order + "HHI", tag, kind, count) + inline
    return table + b"\0\0\0\0" + body


def _directory_at(tags: TagFile, offset: int | None) -> tuple[dict[int, Entry], bool]:
    """Return the directory at an offset and whether it is damaged; empty where None."""
    if offset is None:
        return {}, False
    try:
        return tags.directory(offset), False
    except (struct.error, OSError, OverflowError):
        return {}, True


def _camera(make: str, model: str) -> str:
    """Return maker and model as one name, without saying the maker twice."""
    if not make or model.lower().startswith(make.split()[0].lower()):
        return model or make
    return f"{make} {model}".strip()


def _shutter(seconds: float | None) -> float | None:
    if seconds is None or not math.isfinite(seconds) or not 0 < seconds < LONGEST_SHUTTER_S:
        return None
    return seconds


def _iso(tags: TagFile, shot: dict[int, Entry]) -> float | None:
    """Return the sensitivity, None where none is told."""
    said = [tags.number(shot, tag) for tag in SENSITIVITIES]
    sound = [number for number in said if number and 0 < number < math.inf]
    told = [number for number in sound if number != SENSITIVITY_TOP]
    return next(iter(told or sound), None)


def _taken(
    tags: TagFile, first: dict[int, Entry], shot: dict[int, Entry]
) -> tuple[datetime | None, bool]:
    """Return when the shutter opened, and whether the stamp is finer than a second."""
    text = tags.text(shot, DATE_TIME_ORIGINAL)
    below, zone = SUBSEC_TIME_ORIGINAL, OFFSET_TIME_ORIGINAL
    if not text:
        text, below, zone = tags.text(first, DATE_TIME), SUBSEC_TIME, OFFSET_TIME
    try:
        taken = datetime.strptime(text[:19], "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None, False
    digits = tags.text(shot, below)
    fine = digits.isascii() and digits.isdigit()
    if fine:
        taken += timedelta(seconds=float(f"0.{digits}"))
    offset = _zone(tags.text(shot, zone))
    return (taken.replace(tzinfo=offset) if offset else taken), fine


def _zone(text: str) -> timezone | None:
    """Return the time zone of a text such as "+02:00", None where it is none."""
    if len(text) != 6 or text[0] not in "+-" or text[3] != ":":
        return None
    hours, minutes = text[1:3], text[4:6]
    if not (hours + minutes).isascii() or not (hours + minutes).isdigit() or int(hours) > 14:
        return None
    shift = timedelta(hours=int(hours), minutes=int(minutes))
    return timezone(-shift if text[0] == "-" else shift)
