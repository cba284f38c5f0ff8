"""JPEGs with a gain map behind them are read as their base picture, with a word."""

from __future__ import annotations

import struct
from pathlib import Path

import numpy as np
import pytest
import simplejpeg

from stacker.burst import open_burst
from tests.burst.made_files import jpeg_bytes, picture, segment

XMP = b"http://ns.adobe.com/xap/1.0/\0"
HDRGM = (
    XMP + b"<x:xmpmeta xmlns:hdrgm='http://ns.adobe.com/hdr-gain-map/1.0/' hdrgm:Version='1.0'/>"
)
PLAIN = XMP + b"<x:xmpmeta xmlns:x='adobe:ns:meta/'/>"
ISO = b"urn:iso:std:iso:ts:21496:-1\0" + b"\0" * 4


def with_index(first: bytes, second: bytes, *, order: str = ">", count: int = 2) -> bytes:
    """Return two JPEGs in one file, with the index of pictures in the first."""
    mark = b"MM\0*" if order == ">" else b"II*\0"
    head = mark + struct.pack(order + "IH", 8, 1)
    head += struct.pack(order + "HHII", 0xB002, 7, 16 * count, 26) + b"\0" * 4
    length = 4 + 4 + len(head) + 16 * 2
    place = len(first) + length - (2 + 8)  # counted from behind the prefix
    entries = struct.pack(order + "IIIHH", 0x030000, len(first) + length, 0, 0, 0)
    entries += struct.pack(order + "IIIHH", 0, len(second), place, 0, 0)
    return first[:2] + segment(0xE2, b"MPF\0" + head + entries) + first[2:] + second


def notes(path: Path, data: bytes) -> tuple[str, ...]:
    """Return the burst's warnings about a file, having seen that its first picture is read."""
    path.write_bytes(data)
    burst = open_burst(path)
    ((_, pixels),) = burst.decode([0])
    np.testing.assert_array_equal(pixels, simplejpeg.decode_jpeg(jpeg_bytes(picture(1))))
    return tuple(words for words in burst.warnings if "gain map" in words)


@pytest.mark.parametrize("order", ["<", ">"])
def test_is_known_by_the_metadata_of_either_picture(tmp_path: Path, order: str) -> None:
    path = tmp_path / "a.jpg"
    gray = picture(2, size=(12, 8))
    plain = jpeg_bytes(picture(1), segment(0xE1, PLAIN))
    for mark in (segment(0xE1, HDRGM), segment(0xE2, ISO)):
        one = with_index(jpeg_bytes(picture(1), mark), jpeg_bytes(gray, gray=True), order=order)
        two = with_index(plain, jpeg_bytes(gray, mark, gray=True), order=order)
        for data in (one, two):
            assert notes(path, data) == (
                "a.jpg: its gain map is not used; read as its base picture.",
            )


def test_other_pictures_behind_the_first_are_none(tmp_path: Path) -> None:
    first, preview = jpeg_bytes(picture(1), segment(0xE1, PLAIN)), jpeg_bytes(picture(2))
    assert notes(tmp_path / "a.jpg", with_index(first, preview)) == ()


@pytest.mark.parametrize("count", [0, 1, 5, 1 << 27])
def test_a_damaged_index_does_not_harm(tmp_path: Path, count: int) -> None:
    first = jpeg_bytes(picture(1))
    data = with_index(first, jpeg_bytes(picture(2), segment(0xE1, PLAIN)), count=count)
    assert notes(tmp_path / "a.jpg", data) == ()
    start = data.index(b"MPF\0")
    for cut in range(start + 4, start + 60, 3):
        assert notes(tmp_path / "a.jpg", data[:cut] + b"\xff" * 4 + data[cut + 4 :]) == ()
