"""What a result says about itself, and what it keeps to itself."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from stacker.finish import Metadata
from stacker.finish.exif import (
    CAMERA_OWNER,
    CARRIED_EXIF,
    CARRIED_GPS,
    CARRIED_MAIN,
    FIELD_BYTES_MAX,
    OWNER_TAGS,
    ExifTags,
    exif_block,
)
from stacker.finish.ifd import UNDEFINED, Field, rational_field, text_field
from stacker.finish.metadata import result_tags
from stacker.light.space import SRGB

from .pictures import EXIF_IFD, GPS_IFD, HEIGHT, WIDTH, camera_exif, coded, save

FORMATS = [".tif", ".png", ".jpg"]
SECRETS = (b"Ann", b"A\0n\0n", b"BODY123", b"LENS456", b"0123456789abcdef", b"secret note")


def written(tmp_path: Path, suffix: str, **said: Any) -> tuple[Path, Image.Exif]:
    """Return a picture saved with the metadata given, and its Exif as Pillow reads it."""
    target = tmp_path / f"out{suffix}"
    metadata = replace(Metadata(exposure_s=12.0, description="24 frames"), **said)
    assert save(target, coded(), metadata=metadata) == []
    with Image.open(target) as image:
        exif = image.getexif()
        for part in (EXIF_IFD, GPS_IFD):
            exif.get_ifd(part)
    return target, exif


@pytest.mark.parametrize("big_endian", [False, True], ids=["II", "MM"])
@pytest.mark.parametrize("suffix", FORMATS)
def test_camera_and_exposure_are_told(tmp_path: Path, suffix: str, big_endian: bool) -> None:
    _, exif = written(tmp_path, suffix, exif=camera_exif(big_endian=big_endian), software="s 1")
    part = exif.get_ifd(EXIF_IFD)
    assert exif[0x010F] == "Maker"
    assert exif[0x0110] == "Model 7"
    assert exif[0x0112] == 1
    assert exif[0x0132] == "2024:05:06 07:08:10"
    assert exif[0x010E] == "24 frames"
    assert exif[0x0131] == "s 1"
    assert part[0x829A] == 12.0
    assert 0x9201 not in part
    assert float(part[0x829D]) == pytest.approx(2.8)
    assert float(part[0x9204]) == -0.5
    assert part[0x8827] == 400
    assert float(part[0x920A]) == 35.0
    assert part[0x9003] == "2024:05:06 07:08:09"
    assert part[0x9291] == "123"
    assert part[0x9011] == "+02:00"
    assert part[0xA403] == 1
    assert part[0xA434] == "Lens 35/2"
    assert part[0xA001] == 1
    assert (part[0xA002], part[0xA003]) == (WIDTH, HEIGHT)


@pytest.mark.parametrize("suffix", FORMATS)
def test_place_and_owner_are_left_out(tmp_path: Path, suffix: str) -> None:
    target, exif = written(tmp_path, suffix, exif=camera_exif())
    assert not exif.get_ifd(GPS_IFD)
    assert not exif.get_ifd(0x014A)
    assert not {0x013B, 0x8298, 0x9C9D} & set(exif)
    assert not {0xA430, 0xA431, 0xA435, 0xA420, 0x927C} & set(exif.get_ifd(EXIF_IFD))
    data = target.read_bytes()
    assert not [secret for secret in SECRETS if secret in data]


@pytest.mark.parametrize("suffix", FORMATS)
def test_place_and_owner_are_kept_on_demand(tmp_path: Path, suffix: str) -> None:
    target, exif = written(tmp_path, suffix, exif=camera_exif(), keep_location=True)
    place = exif.get_ifd(GPS_IFD)
    assert place[1] == "N"
    assert [float(v) for v in place[2]] == [47.0, 22.0, 8.5]
    assert exif[0x013B] == "Ann Owner"
    assert exif[0x8298] == "(c) Ann"
    assert exif.get_ifd(EXIF_IFD)[0xA430] == "Ann Owner"
    # numbers of the apparatus and the maker's notes stay out all the same
    assert not [secret for secret in SECRETS[2:] if secret in target.read_bytes()]


def test_tiff_readers_agree(tmp_path: Path) -> None:
    target, _ = written(tmp_path, ".tif", exif=camera_exif(), keep_location=True)
    with tifffile.TiffFile(target) as file:
        tags = file.pages.first.tags
        assert tags["ExifTag"].value["ExposureTime"] == (12, 1)
        assert tags["ExifTag"].value["FNumber"] == (14, 5)
        assert tags["GPSTag"].value["GPSLatitude"] == (47, 1, 22, 1, 17, 2)
        assert tags["Make"].value == "Maker"
        assert tags["ImageDescription"].value == "24 frames"


@pytest.mark.parametrize("exposure_s", [None, 0.0])
def test_unknown_exposure_is_not_told(tmp_path: Path, exposure_s: float | None) -> None:
    _, exif = written(tmp_path, ".tif", exif=camera_exif(), exposure_s=exposure_s)
    assert 0x829A not in exif.get_ifd(EXIF_IFD)


def test_no_exif_in_the_frame(tmp_path: Path) -> None:
    _, exif = written(tmp_path, ".jpg", exif=None)
    assert exif.get_ifd(EXIF_IFD)[0x829A] == 12.0
    assert 0x0132 not in exif


@pytest.mark.parametrize("suffix", FORMATS)
@pytest.mark.parametrize(
    "block", [b"x", b"Exif\0\0", b"II*\0\x08\0\0\0", b"MM\0*\xff\xff\xff\xff", b"Exif\0\0II*\0"]
)
def test_broken_exif_is_left_out_with_a_word(tmp_path: Path, suffix: str, block: bytes) -> None:
    target = tmp_path / f"out{suffix}"
    warnings = save(target, coded(), metadata=Metadata(exif=block, exposure_s=3.0))
    assert len(warnings) == 1
    assert "Exif of the first frame" in warnings[0]
    with Image.open(target) as image:
        assert image.getexif().get_ifd(EXIF_IFD)[0x829A] == 3.0


@settings(deadline=None)
@given(st.integers(0, 700), st.integers(1, 255))
def test_any_damage_is_survived(place: int, change: int) -> None:
    block = bytearray(camera_exif())
    block[place % len(block)] ^= change
    for data in (bytes(block), bytes(block[:place])):
        metadata = Metadata(exif=data, keep_location=True)
        tags, warnings = result_tags(metadata, size=(1, 1), space=SRGB)
        assert exif_block(tags).startswith(b"II*\0")
        assert all(warning.endswith(".") for warning in warnings)


def test_overlong_field_is_left_out_with_a_word() -> None:
    fields = {0x010F: text_field("m" * FIELD_BYTES_MAX), 0x0110: text_field("Model 7")}
    block = exif_block(ExifTags(fields, {}, {}))
    tags, warnings = result_tags(Metadata(exif=block), size=(1, 1), space=SRGB)
    assert len(warnings) == 1
    assert 0x010F not in tags.main
    assert tags.main[0x0110] == fields[0x0110]


def test_cut_exif_keeps_what_is_whole() -> None:
    block = camera_exif()
    tags, warnings = result_tags(Metadata(exif=block[:-400]), size=(1, 1), space=SRGB)
    assert warnings
    assert 0x010F in tags.main


@pytest.mark.parametrize("suffix", FORMATS)
def test_description_beyond_ascii_is_escaped(tmp_path: Path, suffix: str) -> None:
    _, exif = written(tmp_path, suffix, description="café 𝄞\0end")
    assert exif[0x010E] == "caf\\u00e9 \\ud834\\udd1e end"


def test_long_description_is_shortened_for_jpeg_only(tmp_path: Path) -> None:
    said = Metadata(exif=camera_exif(), exposure_s=3.0, description="d" * 70_000)
    for suffix in FORMATS:
        warnings = save(tmp_path / f"out{suffix}", coded(), metadata=said)
        assert len(warnings) == (suffix == ".jpg")
        with Image.open(tmp_path / f"out{suffix}") as image:
            exif = image.getexif()
            assert exif.get_ifd(EXIF_IFD)[0x829A] == 3.0
            assert len(exif[0x010E]) == (7_999 if suffix == ".jpg" else 70_000)


def test_overfull_exif_still_fits_a_jpeg(tmp_path: Path) -> None:
    fat = Field(UNDEFINED, bytes(FIELD_BYTES_MAX))
    main, gps = (
        dict.fromkeys(sorted(CARRIED_MAIN | OWNER_TAGS), fat),
        dict.fromkeys(sorted(CARRIED_GPS), fat),
    )
    tags = ExifTags(main, dict.fromkeys(sorted(CARRIED_EXIF | {CAMERA_OWNER}), fat), gps)
    said = Metadata(
        exif=exif_block(tags), keep_location=True, description="d" * 70_000, software="s" * 9_000
    )
    (warning,) = save(tmp_path / "out.jpg", coded(), metadata=said)
    assert "place" in warning
    with Image.open(tmp_path / "out.jpg") as image:
        assert len(image.getexif()[0x010E]) == 7_999


@settings(deadline=None)
@given(st.floats(1e-4, 4e9))
def test_exposures_are_near_fractions(seconds: float) -> None:
    data = rational_field(seconds).data
    top, bottom = (int.from_bytes(data[n : n + 4], "little") for n in (0, 4))
    assert top / bottom == pytest.approx(seconds, rel=1e-5)


def test_common_exposures_are_exact() -> None:
    for seconds, fraction in ((1 / 8000, (1, 8000)), (12.5, (25, 2)), (1 / 3 * 24, (8, 1))):
        data = rational_field(seconds).data
        assert tuple(int.from_bytes(data[n : n + 4], "little") for n in (0, 4)) == fraction


def test_fraction_too_large_is_refused() -> None:
    with pytest.raises(ValueError, match="fraction"):
        rational_field(1e11)


def test_text_is_closed_by_one_zero() -> None:
    assert text_field("a\0b").data == b"a b\0"
