"""What the containers of raw files say of the shot, and which of them are cut."""

from __future__ import annotations

import io
import struct
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
import tifffile

from stacker.burst.readers.raw_container import check_whole, read_shot
from stacker.errors import FrameError
from tests.burst.made_files import exif_block, jpeg_bytes, picture, segment

HERE = Path("a.raw")
NOON = datetime(2026, 6, 1, 12)


def is_whole(data: bytes) -> bool:
    try:
        check_whole(HERE, io.BytesIO(data))
    except FrameError as error:
        assert error.code == "frame-truncated"
        return False
    return True


def raf() -> bytes:
    """Return a file that begins with a JPEG preview, then tags, then the sensor's numbers."""
    preview = jpeg_bytes(picture(), segment(0xE1, exif_block(taken=NOON, shutter=(1, 2))))
    head = b"FUJIFILMCCD-RAW ".ljust(84, b"\0")
    parts, place = b"", 108
    for part in (preview, bytes(40), bytes(500)):
        parts += struct.pack(">II", place, len(part))
        place += len(part)
    return head + parts + preview + bytes(540)


def box(name: bytes, body: bytes, *, long: bool = False) -> bytes:
    if long:
        return struct.pack(">I4sQ", 1, name, 16 + len(body)) + body
    return struct.pack(">I4s", 8 + len(body), name) + body


def subifds(**options: object) -> bytes:
    """Return a TIFF whose large picture hangs below the small one's directory."""
    file = io.BytesIO()
    with tifffile.TiffWriter(file, **options) as tiff:
        tiff.write(np.zeros((8, 8), np.uint8), subifds=1)
        tiff.write(np.ones((64, 64), np.uint16), rowsperstrip=16, photometric="cfa")
    return file.getvalue()


@pytest.mark.parametrize(
    "data",
    [
        raf(),
        box(b"ftyp", b"crx \0\0\0\1")
        + box(b"moov", bytes(90))
        + box(b"mdat", bytes(300), long=True),
        subifds(),
        subifds(byteorder=">"),
        subifds(bigtiff=True),
    ],
    ids=["raf", "boxes", "below", "big-endian", "big"],
)
def test_a_whole_file_is_whole_and_any_part_of_it_is_not(data):
    assert is_whole(data)
    for length in range(17, len(data), 7):
        assert not is_whole(data[:length]), length


def test_places_that_mean_nothing_are_no_cut():
    """Some makers point their small pictures nowhere."""
    data = bytearray(subifds())
    at = data.index(struct.pack("<HHI", 273, 4, 1)) + 8
    data[at : at + 4] = b"\xff\xff\xff\xff"
    assert is_whole(bytes(data))


@pytest.mark.parametrize("version", [b"RO", b"RS", b"U\0"])
def test_makers_write_their_own_mark_in_place_of_the_version(version):
    block = exif_block(taken=NOON, shutter=(1, 2), order="<")[6:]
    found = read_shot(HERE, io.BytesIO(block[:2] + version + block[4:]))
    assert found is not None
    shot, exif = found
    assert (shot.taken, shot.shutter_s) == (NOON, 0.5) and exif is not None


def test_the_preview_tells_of_the_shot():
    found = read_shot(HERE, io.BytesIO(raf()))
    assert found is not None and (found[0].taken, found[0].shutter_s) == (NOON, 0.5)


@pytest.mark.parametrize("data", [b"", b"FUJIFILMCCD-RAW ", b"\0\0\0\x18ftypcrx " + bytes(80)])
def test_where_nothing_is_said_nothing_is_found(data):
    assert read_shot(HERE, io.BytesIO(data)) is None
