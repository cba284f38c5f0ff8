"""TIFF in its many forms: bit for bit, or a clear refusal."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from stacker.burst import open_burst
from stacker.errors import FrameError
from stacker.light.space import SRGB, linear_twin
from stacker.light.srgb import srgb_to_linear
from tests.burst.made_files import picture

Pixels = np.typing.NDArray[Any]


def read(path: Path, *, fill: bool = False) -> Pixels:
    burst = open_burst(path)
    width, height = burst.size
    out = np.zeros((height, width, 3), burst.encoding.stored) if fill else None
    ((_, pixels),) = burst.decode([0], out=out)
    assert pixels.flags.c_contiguous and pixels.dtype == burst.encoding.stored
    assert pixels.dtype.isnative
    return pixels


def refusal(path: Path) -> FrameError:
    with pytest.raises(FrameError) as caught:
        read(path)
    assert path.name in str(caught.value)
    return caught.value


FORMS: dict[str, dict[str, Any]] = {
    "plain": {},
    "strips": {"rowsperstrip": 5},
    "tiles": {"tile": (16, 16)},
    "lzw": {"compression": "lzw", "predictor": True},
    "deflate": {"compression": "zlib", "predictor": True, "rowsperstrip": 7},
    "zstd": {"compression": "zstd"},
    "tiles packed": {"compression": "zlib", "tile": (32, 32)},
    "big": {"bigtiff": True},
    "big-endian": {"byteorder": ">"},
    "big-endian packed": {"byteorder": ">", "compression": "zlib", "predictor": True},
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float16", "float32"])
@pytest.mark.parametrize("fill", [False, True])
def test_every_form_keeps_every_bit(tmp_path: Path, form: str, dtype: str, fill: bool) -> None:
    wanted = picture(dtype=dtype, size=(37, 41))
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, wanted, photometric="rgb", **FORMS[form])
    np.testing.assert_array_equal(read(path, fill=fill), wanted)


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
@pytest.mark.parametrize("compression", [None, "zlib"])
def test_separate_planes(tmp_path: Path, dtype: str, compression: str | None) -> None:
    wanted = picture(dtype=dtype)
    path = tmp_path / "a.tif"
    planes = np.ascontiguousarray(wanted.transpose(2, 0, 1))
    tifffile.imwrite(
        path, planes, photometric="rgb", planarconfig="separate", compression=compression
    )
    np.testing.assert_array_equal(read(path), wanted)


def test_jpeg_inside(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    smooth = np.full((32, 48, 3), (200, 100, 50), np.uint8)
    tifffile.imwrite(path, smooth, photometric="rgb", compression="jpeg")
    assert np.abs(read(path).astype(int) - smooth).max() <= 3


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
def test_gray_becomes_rgb(tmp_path: Path, dtype: str) -> None:
    gray = picture(dtype=dtype)[..., 0]
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, gray, photometric="minisblack")
    np.testing.assert_array_equal(read(path), np.repeat(gray[..., None], 3, 2))


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_white_as_zero_is_turned_round(tmp_path: Path, dtype: str) -> None:
    gray = picture(dtype=dtype)[..., 0]
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, gray, photometric="miniswhite")
    np.testing.assert_array_equal(read(path)[..., 1], np.iinfo(dtype).max - gray)


def test_palette(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    table = np.random.default_rng(0).integers(0, 65536, (3, 256)).astype(np.uint16)
    indices = picture()[..., 0]
    tifffile.imwrite(path, indices, photometric="palette", colormap=table)
    pixels = read(path)
    assert pixels.dtype == np.uint16
    np.testing.assert_array_equal(pixels, table.T[indices])


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
def test_transparency_is_left_out_and_said(tmp_path: Path, dtype: str) -> None:
    wanted = np.concatenate([picture(dtype=dtype), picture(1, dtype=dtype)[..., :1]], axis=2)
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, wanted, photometric="rgb", extrasamples=["unassalpha"])
    np.testing.assert_array_equal(read(path), wanted[..., :3])
    assert len(open_burst(path).warnings) == 1


@pytest.mark.parametrize("bits", [10, 12])
def test_packed_bits_fill_sixteen(tmp_path: Path, bits: int) -> None:
    top = (1 << bits) - 1
    ramp = np.linspace(0, top, 16 * 24 * 3).astype(np.uint16).reshape(16, 24, 3)
    path = tmp_path / "a.tif"
    _write_packed(path, ramp, bits)
    pixels = read(path)
    np.testing.assert_array_equal(pixels, np.rint(ramp / top * 65535).astype(np.uint16))


def _write_packed(path: Path, codes: Pixels, bits: int) -> None:
    """Write codes without gaps between them, most significant bit first."""
    places = np.arange(bits - 1, -1, -1)
    height, width, channels = codes.shape
    rows = ((codes.reshape(height, -1, 1) >> places) & 1).astype(np.uint8).reshape(height, -1)
    data = np.packbits(rows, axis=1).tobytes()
    # written as 16 bits, then its tags are set to what really lies there
    tifffile.imwrite(path, np.zeros((height, width, channels), np.uint16), photometric="rgb")
    with tifffile.TiffFile(path, mode="r+") as file:
        page: Any = file.pages[0]
        page.tags["BitsPerSample"].overwrite((bits,) * channels)
        page.tags["StripByteCounts"].overwrite(len(data))
        file.filehandle.seek(page.dataoffsets[0])
        file.filehandle.write(data)


def test_pages_of_one_form_are_frames_and_others_are_left_out(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    wanted = [picture(seed, dtype="uint16") for seed in range(4)]
    with tifffile.TiffWriter(path) as file:
        for number, pixels in enumerate(wanted):
            file.write(pixels, photometric="rgb", metadata=None)
            if number == 1:
                file.write(picture(size=(8, 8)), photometric="rgb", metadata=None)
    burst = open_burst(path)
    assert [frame.name for frame in burst.frames] == [f"a.tif#000{place}" for place in range(1, 5)]
    assert burst.runs([3, 0, 2]) == [(0, 2, 3)]
    for index, pixels in burst.decode([0, 2, 3]):
        np.testing.assert_array_equal(pixels, wanted[index])
    assert any("left out" in warning for warning in burst.warnings)


@pytest.mark.parametrize(
    ("pixels", "words"),
    [
        (picture(dtype="uint32"), {"photometric": "rgb"}),
        (picture(dtype="uint16").astype(np.int16), {"photometric": "rgb"}),
        (picture(dtype="float64"), {"photometric": "rgb"}),
        (np.zeros((9, 9, 4), np.uint8), {"photometric": "separated"}),
        (picture(), {"photometric": "cielab"}),
        (np.zeros((9, 9), bool), {"photometric": "minisblack"}),
    ],
)
def test_what_is_not_read_is_refused_in_one_sentence(
    tmp_path: Path, pixels: Pixels, words: dict[str, Any]
) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, pixels, **words)
    assert refusal(path).code == "frame-unsupported"


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf, -0.25])
@pytest.mark.parametrize("place", [(0, 0, 0), (15, 23, 2), (7, 9, 1)])
def test_numbers_that_are_no_light_are_refused(
    tmp_path: Path, value: float, place: tuple[int, int, int]
) -> None:
    pixels = picture(dtype="float32")
    pixels[place] = value
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, pixels, photometric="rgb")
    error = refusal(path)
    assert error.code == "frame-bad-values"
    assert "1 " in error.why


def test_float_light_above_one_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    wanted = picture(dtype="float32") * 50
    tifffile.imwrite(path, wanted, photometric="rgb")
    np.testing.assert_array_equal(read(path), wanted)


def test_float_numbers_in_a_curved_profile_become_light(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    codes = picture(dtype="float32")
    for icc, wanted in ((SRGB.icc, srgb_to_linear(codes)), (linear_twin(SRGB).icc, codes)):
        tifffile.imwrite(path, codes, photometric="rgb", iccprofile=icc)
        np.testing.assert_allclose(read(path), wanted, atol=2e-5)


def test_an_absurd_size_is_refused_before_memory_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, picture(), photometric="rgb")
    with tifffile.TiffFile(path, mode="r+") as file:
        page: Any = file.pages[0]
        page.tags["ImageWidth"].overwrite(60000)
        page.tags["ImageLength"].overwrite(60000)
    assert refusal(path).code == "frame-too-large"


def test_orientation_and_exif(tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    exif = Image.Exif()
    exif[274] = 6
    exif[271], exif[272] = "Maker", "Model 7"
    exif.get_ifd(34665).update({36867: "2024:05:01 22:30:15", 33434: 0.5})
    exif[34665] = exif.get_ifd(34665)
    Image.fromarray(picture()).save(path, exif=exif)
    burst = open_burst(path)
    frame = burst.frames[0]
    assert burst.size == (16, 24)
    assert frame.taken == datetime(2024, 5, 1, 22, 30, 15)
    assert (frame.camera, frame.shutter_s) == ("Maker Model 7", 0.5)
    np.testing.assert_array_equal(read(path), np.rot90(picture(), -1))
    np.testing.assert_array_equal(read(path, fill=True), np.rot90(picture(), -1))
    assert frame.exif is not None
    loaded = Image.Exif()
    loaded.load(frame.exif)
    assert loaded[272] == "Model 7"
    assert loaded.get_ifd(34665)[36867] == "2024:05:01 22:30:15"
    assert 273 not in loaded and 274 not in loaded
