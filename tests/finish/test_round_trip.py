"""What was written is read back by other programs' readers: pixels, profile and Exif."""

from __future__ import annotations

import struct
import zlib
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.JpegImagePlugin import JpegImageFile

from stacker.errors import OptionError, OutputError
from stacker.finish import Metadata, Tone, formats, png, tiff
from stacker.finish.codes import to_codes16
from stacker.light.encoding import CodedLight, Picture, Uint16Array
from stacker.light.space import ADOBE_RGB, SRGB, linear_twin

from .pictures import EXIF_IFD, HEIGHT, PLAIN, WIDTH, coded, cut, save, smooth_light

# quality 95 quantises the middle frequencies by 5 and less, and the colour transform rounds
JPEG_MEAN_APART, JPEG_MOST_APART = 1.0, 8.0
SUFFIXES = [".tif", ".tiff", ".png", ".jpg", ".jpeg"]


def read_codes16(path: Path) -> Uint16Array:
    pixels = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    assert pixels is not None
    assert pixels.dtype == np.uint16
    return np.asarray(pixels[..., ::-1], np.uint16)


@pytest.mark.parametrize("picture", [coded(), coded(65535), smooth_light()], ids=["8", "16", "f"])
def test_tiff16_bit_for_bit(tmp_path: Path, picture: Picture) -> None:
    assert save(tmp_path / "out.tif", picture) == []
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        page = file.pages.first
        pixels = page.asarray()
        assert page.tags["InterColorProfile"].value == SRGB.icc
        assert page.tags["ImageWidth"].value == WIDTH
        assert page.tags["ImageLength"].value == HEIGHT
        assert page.tags["Orientation"].value == 1
        assert page.tags["Software"].value == "stacker 0.1.0"
        assert page.tags["ExifTag"].value["ExposureTime"] == (25, 2)
        assert not file.is_bigtiff
    assert pixels.dtype == np.uint16
    np.testing.assert_array_equal(pixels, to_codes16(picture, SRGB))
    np.testing.assert_array_equal(read_codes16(tmp_path / "out.tif"), pixels)


@pytest.mark.parametrize("limit", [tiff.CLASSIC_BYTES_MAX, 0], ids=["classic", "big"])
def test_tiff32_bit_for_bit(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, limit: int) -> None:
    monkeypatch.setattr(tiff, "CLASSIC_BYTES_MAX", limit)
    light = smooth_light() * np.float32(3) - np.float32(0.5)
    save(tmp_path / "out.tif", light, depth=32)
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        page = file.pages.first
        pixels = page.asarray()
        assert file.is_bigtiff == (limit == 0)
        assert page.tags["SampleFormat"].value == (3, 3, 3)
        assert page.tags["InterColorProfile"].value == linear_twin(SRGB).icc
        assert page.tags["ExifTag"].value["ExposureTime"] == (25, 2)
        assert page.tags["ExifTag"].value["ColorSpace"] == 65535
    assert pixels.dtype == np.float32
    np.testing.assert_array_equal(pixels, light)


def test_tiff_of_many_strips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tiff, "STRIP_BYTES", 5 * WIDTH * 6)
    picture = coded()
    save(tmp_path / "out.tif", picture)
    with tifffile.TiffFile(tmp_path / "out.tif") as file:
        page = file.pages.first
        assert page.rowsperstrip == 5
        assert len(page.dataoffsets) == 9
        np.testing.assert_array_equal(page.asarray(), to_codes16(picture, SRGB))


@pytest.mark.parametrize("picture", [coded(), coded(65535), smooth_light()], ids=["8", "16", "f"])
def test_png16_bit_for_bit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, picture: Picture
) -> None:
    monkeypatch.setattr(png, "DATA_BYTES", 1000)
    said = Metadata(description="café at 5 µs, 星", software="stacker 0.1.0")
    save(tmp_path / "out.png", picture, metadata=said)
    np.testing.assert_array_equal(read_codes16(tmp_path / "out.png"), to_codes16(picture, SRGB))
    with Image.open(tmp_path / "out.png") as image:
        image.load()
        assert image.info["icc_profile"] == SRGB.icc
        assert image.info["Description"] == said.description
        assert image.info["Software"] == said.software


def test_jpeg_within_tolerance(tmp_path: Path) -> None:
    light = smooth_light(128, 160)
    save(tmp_path / "out.jpg", light)
    with Image.open(tmp_path / "out.jpg") as image:
        assert isinstance(image, JpegImageFile)
        # sampling across and down of each channel: none is halved
        assert [part[1:3] for part in image.layer] == [(1, 1)] * 3
        assert image.info["icc_profile"] == SRGB.icc
        tables = image.quantization
        pixels = np.asarray(image, dtype=np.float64)
    Image.new("RGB", (8, 8)).save(tmp_path / "plain.jpg", quality=95)
    with Image.open(tmp_path / "plain.jpg") as plain:
        assert isinstance(plain, JpegImageFile)
        assert tables == plain.quantization
    apart = np.abs(pixels - to_codes16(light, SRGB) / 257)
    assert apart.mean() < JPEG_MEAN_APART
    assert apart.max() < JPEG_MOST_APART


def test_jpeg_takes_a_large_profile_in_parts(tmp_path: Path) -> None:
    large = replace(SRGB, icc=SRGB.icc + bytes(range(256)) * 600)
    save(tmp_path / "out.jpg", coded(), space=large)
    with Image.open(tmp_path / "out.jpg") as image:
        assert image.info["icc_profile"] == large.icc


@pytest.mark.parametrize("side", [(65536, 1), (1, 65536)])
def test_jpeg_has_a_greatest_side(tmp_path: Path, side: tuple[int, int]) -> None:
    target = tmp_path / "out.jpg"
    with pytest.raises(OutputError) as caught:
        save(target, coded(), size=side)
    assert caught.value.code == "output-too-large"
    assert ".tif" in caught.value.remedy
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("suffix", [".tif", ".png", ".jpg"])
def test_profile_of_another_space(tmp_path: Path, suffix: str) -> None:
    save(tmp_path / f"out{suffix}", coded(), space=ADOBE_RGB)
    with Image.open(tmp_path / f"out{suffix}") as image:
        assert image.info["icc_profile"] == ADOBE_RGB.icc
        assert image.getexif().get_ifd(EXIF_IFD)[0xA001] == 65535


@pytest.mark.parametrize("suffix", [*SUFFIXES, ".TIF", ".Jpg"])
def test_same_picture_same_bytes(tmp_path: Path, suffix: str) -> None:
    for name in ("a", "b"):
        save(tmp_path / f"{name}{suffix}", coded())
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


@pytest.mark.parametrize(
    ("suffix", "depth"), [(".tif", 16), (".tif", 32), (".png", 16), (".jpg", 8)]
)
@settings(
    deadline=None, max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(heights=st.lists(st.integers(0, 9), max_size=4), coded_light=st.booleans())
def test_bands_leave_no_trace(
    tmp_path: Path, suffix: str, depth: int, heights: list[int], coded_light: bool
) -> None:
    picture: Picture = coded() if coded_light else smooth_light()
    whole, parts = tmp_path / f"whole{suffix}", tmp_path / f"parts{suffix}"
    tone = Tone(0.5, shoulder=True, brightest=2.0)
    save(whole, picture, depth=depth, tone=tone, overwrite=True)
    save(parts, picture, bands=cut(picture, heights), depth=depth, tone=tone, overwrite=True)
    assert whole.read_bytes() == parts.read_bytes()


def test_png_of_a_noisy_picture_does_not_hang_on_bands(tmp_path: Path) -> None:
    picture = coded(65535, height=300, width=200)
    save(tmp_path / "whole.png", picture)
    save(tmp_path / "parts.png", picture, bands=cut(picture, [1, 2, 120, 50]))
    assert (tmp_path / "whole.png").read_bytes() == (tmp_path / "parts.png").read_bytes()


def test_bands_with_tables_of_their_own(tmp_path: Path) -> None:
    first, second = coded(height=5), coded(height=6, seed=9)
    second = CodedLight(second.codes, second.table / 2)
    save(tmp_path / "out.tif", first, bands=[first, second], size=(WIDTH, 11))
    expected = np.concatenate([to_codes16(first, SRGB), to_codes16(second, SRGB)])
    np.testing.assert_array_equal(tifffile.imread(tmp_path / "out.tif"), expected)


@pytest.mark.parametrize("height", [HEIGHT - 1, HEIGHT + 1])
def test_heights_must_add_up(tmp_path: Path, height: int) -> None:
    with pytest.raises(ValueError, match="rows"):
        save(tmp_path / "out.tif", coded(), size=(WIDTH, height))
    with pytest.raises(ValueError, match="wide"):
        save(tmp_path / "out.tif", coded(), size=(WIDTH + 1, HEIGHT))
    with pytest.raises(ValueError, match="pixels"):
        save(tmp_path / "out.tif", coded(), size=(0, HEIGHT))
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("name", "depth"), [("a.tif", 8), ("a.png", 8), ("a.png", 32), ("a.jpg", 16), ("a.jpg", 32)]
)
def test_depth_that_the_suffix_cannot_have(tmp_path: Path, name: str, depth: int) -> None:
    with pytest.raises(OptionError) as caught:
        save(tmp_path / name, coded(), depth=depth)
    able = formats.FORMATS[Path(name).suffix].depths
    assert caught.value.code == "option-depth"
    assert str(able[0]) in caught.value.why
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize("suffix", [".tif", ".png", ".jpg"])
def test_one_pixel_wide_and_high(tmp_path: Path, suffix: str) -> None:
    for shape in ((1, 1), (1, 9), (9, 1)):
        picture = coded(height=shape[0], width=shape[1])
        save(tmp_path / f"out{suffix}", picture, overwrite=True)
        with Image.open(tmp_path / f"out{suffix}") as image:
            assert image.size == (shape[1], shape[0])


def test_png_chunks_have_right_checks(tmp_path: Path) -> None:
    save(tmp_path / "out.png", coded(), metadata=PLAIN)
    data = (tmp_path / "out.png").read_bytes()
    at, names = 8, []
    while at < len(data):
        (length,) = struct.unpack_from(">I", data, at)
        (check,) = struct.unpack_from(">I", data, at + 8 + length)
        assert check == zlib.crc32(data[at + 4 : at + 8 + length])
        names.append(data[at + 4 : at + 8].decode("ascii"))
        at += 12 + length
    assert names[0] == "IHDR"
    assert names[-1] == "IEND"
    assert names.index("iCCP") < names.index("IDAT")
    assert names.index("eXIf") < names.index("IDAT")
