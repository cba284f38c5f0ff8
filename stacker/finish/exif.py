"""The Exif block of a frame: what of it may go into the result, and the block as bytes.

What is carried over is listed by name, so that nothing unknown (maker notes, serial numbers,
thumbnails of another picture) comes along by accident.

Source: Exif 2.32 (CIPA DC-008-2019), clauses 4.6.4 to 4.6.6, and 4.7.2 for the APP1 block.
"""

from __future__ import annotations

import struct
from collections.abc import Collection
from dataclasses import dataclass, replace

from stacker.finish.ifd import (
    BrokenDirectoryError,
    Directory,
    Field,
    long8_field,
    long_field,
    pack_directory,
    read_directory,
)

EXIF_POINTER, GPS_POINTER = 0x8769, 0x8825
BLOCK_MARK = b"Exif\0\0"

MAKE, MODEL, DATE_TIME = 0x010F, 0x0110, 0x0132
DATE_TIME_ORIGINAL = 0x9003
# Artist, Copyright and the author as one desktop system writes it
OWNER_TAGS = frozenset({0x013B, 0x8298, 0x9C9D})
CAMERA_OWNER = 0xA430

CARRIED_MAIN = frozenset({MAKE, MODEL, DATE_TIME})
CARRIED_EXIF = frozenset(
    {
        # aperture, programme, sensitivities
        *(0x829D, 0x8822, 0x8827, 0x8830, 0x8831, 0x8832, 0x8833, 0x8834, 0x8835),
        # when: original, digitised, their offsets from UTC and parts of a second
        *(DATE_TIME_ORIGINAL, 0x9004, 0x9010, 0x9011, 0x9012, 0x9290, 0x9291, 0x9292),
        # aperture, brightness and bias in APEX; distance, metering, light, flash, focal length
        *(0x9202, 0x9203, 0x9204, 0x9205, 0x9206, 0x9207, 0x9208, 0x9209, 0x920A),
        # pixels per unit on the sensor, the unit; sensing method, source, kind of scene
        *(0xA20E, 0xA20F, 0xA210, 0xA217, 0xA300, 0xA301),
        # mode, white balance, zoom, 35 mm focal length, scene, gain and the camera's processing
        *(0xA402, 0xA403, 0xA404, 0xA405, 0xA406, 0xA407, 0xA408, 0xA409, 0xA40A, 0xA40C),
        # lens: range, make, model
        *(0xA432, 0xA433, 0xA434),
    }
)
# all of what GPS may say
CARRIED_GPS = frozenset(range(0x20))
# none of the fields above has use for more; a longer one is damaged or misused
FIELD_BYTES_MAX = 768


@dataclass(frozen=True)
class ExifTags:
    """The three directories of an Exif block: the picture's own, the exposure's, the place's."""

    main: Directory
    exif: Directory
    gps: Directory


NO_TAGS = ExifTags({}, {}, {})


def carried_tags(block: bytes, *, keep_location: bool) -> tuple[ExifTags, bool]:
    """Return what of a frame's Exif block may go into the result, and whether all was readable.

    Parameters
    ----------
    block : the block with or without its mark ``Exif\\0\\0``.
    keep_location : take along where and by whom the picture was made.

    Raises
    ------
    BrokenDirectoryError
        The block cannot be read at all.
    """
    block = block.removeprefix(BLOCK_MARK)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(block[:4])
    if order is None or len(block) < 8:
        raise BrokenDirectoryError("the block has no TIFF header")
    (start,) = struct.unpack_from(order + "I", block, 4)
    wanted_main = CARRIED_MAIN | (OWNER_TAGS if keep_location else frozenset())
    wanted_exif = CARRIED_EXIF | ({CAMERA_OWNER} if keep_location else frozenset())
    fields, unreadable = read_directory(block, start, order)
    chosen, fitting = _chosen(fields, wanted_main)
    whole = fitting and not (wanted_main | {EXIF_POINTER}) & set(unreadable)
    tags = ExifTags(chosen, {}, {})
    parts = {"exif": (EXIF_POINTER, wanted_exif)}
    if keep_location:
        parts["gps"] = (GPS_POINTER, CARRIED_GPS)
    for name, (pointer, wanted) in parts.items():
        if pointer not in fields:
            continue
        part, readable = _linked_directory(block, order, fields[pointer], wanted)
        tags = replace(tags, **{name: part})
        whole = whole and readable
    return tags, whole


def _linked_directory(
    block: bytes, order: str, pointer: Field, wanted: Collection[int]
) -> tuple[Directory, bool]:
    """Return the wanted fields of a directory that a field points to, and whether all were read."""
    if len(pointer.data) != 4:
        return {}, False
    try:
        fields, unreadable = read_directory(block, int.from_bytes(pointer.data, "little"), order)
    except BrokenDirectoryError:
        return {}, False
    chosen, fitting = _chosen(fields, wanted)
    return chosen, fitting and not set(wanted) & set(unreadable)


def _chosen(fields: Directory, wanted: Collection[int]) -> tuple[Directory, bool]:
    """Return the wanted fields that hold anything, and whether none of them is too long."""
    found = {tag: field for tag, field in fields.items() if tag in wanted and field.data}
    fitting = {tag: field for tag, field in found.items() if len(field.data) <= FIELD_BYTES_MAX}
    return fitting, len(fitting) == len(found)


def pack_tags(tags: ExifTags, offset: int, *, big: bool = False) -> bytes:
    """Return the directories as bytes that will lie at ``offset``, each pointing to the next."""
    pointer = long8_field if big else long_field
    parts = {EXIF_POINTER: tags.exif, GPS_POINTER: tags.gps}
    parts = {tag: part for tag, part in parts.items() if part}
    main = {**tags.main, **dict.fromkeys(parts, pointer(0))}
    place = offset + len(pack_directory(main, offset, big=big))
    body = b""
    for tag, part in parts.items():
        main[tag] = pointer(place + len(body))
        body += pack_directory(part, place + len(body), big=big)
    return pack_directory(main, offset, big=big) + body


def exif_block(tags: ExifTags) -> bytes:
    """Return the Exif block as bytes, beginning with the TIFF header, without the mark."""
    header = b"II*\0" + struct.pack("<I", 8)
    return header + pack_tags(tags, len(header))
