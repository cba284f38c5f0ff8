"""Every reader of stills gives its pixels back bit for bit, or refuses."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import simplejpeg
import tifffile
from PIL import Image

from stacker.burst import Burst, open_burst
from stacker.errors import FrameError
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, SRGB
from tests.burst.made_files import exif_block, jpeg_bytes, picture, segment, write_jpeg

Pixels = np.typing.NDArray[Any]


def read(path: Path, *, out: Pixels | None = None) -> tuple[Burst, Pixels]:
    burst = open_burst(path)
    ((index, pixels),) = burst.decode([0], out=out)
    assert index == 0 and pixels.flags.c_contiguous
    assert pixels.dtype == burst.encoding.stored
    assert pixels.shape == (burst.size[1], burst.size[0], 3)
    return burst, pixels


def refusal(path: Path) -> FrameError:
    with pytest.raises(FrameError) as caught:
        read(path)
    assert str(path.name) in str(caught.value)
    assert str(caught.value).count("\n") == 0
    return caught.value


# JPEG -------------------------------------------------------------------------------------------


def test_jpeg_gives_what_its_decoder_gives(tmp_path: Path) -> None:
    path = write_jpeg(tmp_path / "a.jpg")
    out = np.zeros((16, 24, 3), np.uint8)
    burst, pixels = read(path, out=out)
    assert pixels is out or np.shares_memory(pixels, out)
    np.testing.assert_array_equal(pixels, simplejpeg.decode_jpeg(path.read_bytes()))
    assert burst.warnings == () and burst.encoding.space is SRGB


def test_gray_jpeg_becomes_rgb(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg_bytes(picture(), gray=True))
    _, pixels = read(path)
    assert (pixels[..., 0] == pixels[..., 1]).all() and (pixels[..., 0] == pixels[..., 2]).all()


def test_cmyk_jpeg_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    Image.fromarray(picture()).convert("CMYK").save(path)
    assert refusal(path).code == "frame-unsupported"


def test_profile_in_several_segments(tmp_path: Path) -> None:
    icc = DISPLAY_P3.icc
    half = len(icc) // 2
    parts = [
        segment(0xE2, b"ICC_PROFILE\0" + bytes([place, 2]) + part)
        for place, part in ((2, icc[half:]), (1, icc[:half]))
    ]
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg_bytes(picture(), *parts))
    burst, _ = read(path)
    assert burst.encoding.space.icc == icc and burst.warnings == ()
    path.write_bytes(jpeg_bytes(picture(), parts[0]))
    burst, _ = read(path)
    assert burst.encoding.space is SRGB
    assert len(burst.warnings) == 1


def test_pictures_appended_behind_the_first_are_ignored(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    first = jpeg_bytes(picture(1))
    path.write_bytes(first + jpeg_bytes(picture(2)) + b"\0" * 5000)
    _, pixels = read(path)
    np.testing.assert_array_equal(pixels, simplejpeg.decode_jpeg(first))


@pytest.mark.parametrize("stray", [1, 5, 300])
def test_stray_bytes_do_not_harm(tmp_path: Path, stray: int) -> None:
    data = jpeg_bytes(picture(), segment(0xFE, b"a word"))
    table = data.find(b"\xff\xdb")
    path = tmp_path / "a.jpg"
    filling = b"\x11" * stray
    path.write_bytes(data[:table] + filling + data[table:-2] + filling + data[-2:])
    _, pixels = read(path)
    np.testing.assert_array_equal(pixels, simplejpeg.decode_jpeg(data))


def test_broken_exif_does_not_stop_reading(tmp_path: Path) -> None:
    whole = exif_block(taken=datetime(2024, 5, 1), camera=("Maker", "Model 1"), orientation=6)
    for cut in (*range(6, len(whole), 5), len(whole)):
        path = tmp_path / "a.jpg"
        path.write_bytes(jpeg_bytes(picture(), segment(0xE1, whole[:cut])))
        burst = open_burst(path)
        assert len(list(burst.decode([0]))) == 1


# PNG --------------------------------------------------------------------------------------------


def write_png(path: Path, pixels: Pixels, *chunks: tuple[bytes, bytes]) -> Path:
    ok, data = cv2.imencode(".png", pixels[..., ::-1] if pixels.ndim == 3 else pixels)
    assert ok
    extra = b"".join(
        struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        for name, body in chunks
    )
    blob = data.tobytes()
    path.write_bytes(blob[:33] + extra + blob[33:])
    return path


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_png_keeps_every_bit(tmp_path: Path, dtype: str) -> None:
    wanted = picture(dtype=dtype)
    path = write_png(tmp_path / "a.png", wanted)
    _, pixels = read(path)
    np.testing.assert_array_equal(pixels, wanted)
    out = np.zeros_like(wanted)
    _, pixels = read(path, out=out)
    assert np.shares_memory(pixels, out)
    np.testing.assert_array_equal(out, wanted)


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
def test_gray_png_becomes_rgb(tmp_path: Path, dtype: str) -> None:
    gray = np.ascontiguousarray(picture(dtype=dtype)[..., 0])
    _, pixels = read(write_png(tmp_path / "a.png", gray))
    np.testing.assert_array_equal(pixels, np.repeat(gray[..., None], 3, 2))


@pytest.mark.parametrize("mode", ["1", "P", "LA", "RGBA"])
def test_other_forms_of_png(tmp_path: Path, mode: str) -> None:
    path = tmp_path / "a.png"
    image = Image.fromarray(picture()).convert(mode)
    image.save(path)
    burst, pixels = read(path)
    wanted = image.convert("RGBA").convert("RGB") if "A" in mode else image.convert("RGB")
    np.testing.assert_array_equal(pixels, np.asarray(wanted))
    assert (len(burst.warnings) == 1) == ("A" in mode)


def test_png_profile_and_exif(tmp_path: Path) -> None:
    packed = b"name\0\0" + zlib.compress(ADOBE_RGB.icc)
    exif = exif_block(orientation=6, shutter=(1, 4))[6:]
    path = write_png(tmp_path / "a.png", picture(), (b"iCCP", packed), (b"eXIf", exif))
    burst, pixels = read(path)
    assert burst.encoding.space.icc == ADOBE_RGB.icc
    assert burst.size == (16, 24) and burst.frames[0].shutter_s == 0.25
    np.testing.assert_array_equal(pixels, np.rot90(picture(), -1))


def test_exif_behind_the_picture_counts(tmp_path: Path) -> None:
    path = write_png(tmp_path / "a.png", picture())
    body = exif_block(shutter=(1, 8))[6:]
    chunk = struct.pack(">I", len(body)) + b"eXIf" + body
    chunk += struct.pack(">I", zlib.crc32(b"eXIf" + body))
    blob = path.read_bytes()
    path.write_bytes(blob[:-12] + chunk + blob[-12:])
    assert open_burst(path).frames[0].shutter_s == 0.125


def test_damaged_profile_is_said_and_nothing_printed(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    path = write_png(tmp_path / "a.png", picture(), (b"iCCP", b"name\0\0rubbish"))
    burst, pixels = read(path)
    np.testing.assert_array_equal(pixels, picture())
    assert len(burst.warnings) == 1
    assert capfd.readouterr().err == ""


# cut and damaged files --------------------------------------------------------------------------


def _write_any(path: Path) -> Path:
    pixels = picture(3, size=(40, 30))
    if path.suffix == ".jpg":
        return write_jpeg(path, pixels, taken=datetime(2024, 1, 1))
    if path.suffix == ".png":
        return write_png(path, pixels)
    compressed = "zlib" if path.stem == "packed" else None
    tifffile.imwrite(path, pixels, photometric="rgb", rowsperstrip=4, compression=compressed)
    return path


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "plain.tif", "packed.tif"])
def test_a_cut_file_is_refused_wherever_it_is_cut(tmp_path: Path, name: str) -> None:
    data = _write_any(tmp_path / name).read_bytes()
    path = tmp_path / f"cut{Path(name).suffix}"
    cuts = {*range(1, len(data), max(1, len(data) // 120)), *range(len(data) - 14, len(data))}
    # the last bytes of a TIFF may be filling; of PNG and JPEG every byte counts
    slack = 1 if name.endswith("tif") else 0
    for cut in sorted(cuts):
        if cut < len(data) - slack:
            path.write_bytes(data[:cut])
            assert refusal(path).code in ("frame-truncated", "frame-unreadable")


@pytest.mark.parametrize("name", ["a.jpg", "a.png", "plain.tif", "packed.tif"])
def test_damage_gives_a_picture_or_an_error_of_ours(tmp_path: Path, name: str) -> None:
    data = _write_any(tmp_path / name).read_bytes()
    path = tmp_path / f"bad{Path(name).suffix}"
    rng = np.random.default_rng(1)
    for _ in range(150):
        bad = bytearray(data)
        for place in rng.integers(4, len(bad), 3):
            bad[place] = rng.integers(256)
        path.write_bytes(bytes(bad))
        try:
            read(path)
        except FrameError as error:
            assert error.code.startswith("frame-")


# the rest ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", ["webp", "bmp", "gif"])
def test_other_stills(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"a.{suffix}"
    image = Image.fromarray(picture())
    if suffix == "gif":
        image = image.quantize(16)
    image.save(path, lossless=True)
    _, pixels = read(path)
    np.testing.assert_array_equal(pixels, np.asarray(image.convert("RGB")))


def test_other_stills_bring_profile_and_exif(tmp_path: Path) -> None:
    path = tmp_path / "a.webp"
    exif = exif_block(orientation=8, shutter=(1, 2))
    Image.fromarray(picture()).save(path, lossless=True, exif=exif, icc_profile=DISPLAY_P3.icc)
    burst, pixels = read(path)
    assert burst.encoding.space.icc == DISPLAY_P3.icc
    assert burst.frames[0].shutter_s == 0.5
    np.testing.assert_array_equal(pixels, np.rot90(picture()))


def test_cut_webp_is_refused(tmp_path: Path) -> None:
    whole = io.BytesIO()
    Image.fromarray(picture(size=(64, 64))).save(whole, "WEBP", lossless=True)
    path = tmp_path / "a.webp"
    path.write_bytes(whole.getvalue()[:-200])
    assert refusal(path).code == "frame-unreadable"


def test_exif_tells_when_how_long_and_by_what(tmp_path: Path) -> None:
    for order in "<>":
        path = write_jpeg(
            tmp_path / "a.jpg",
            taken=datetime(2024, 5, 1, 22, 30, 15),
            subsec="25",
            offset="+02:00",
            shutter=(1, 3),
            camera=("Maker Corp.", "Maker M1"),
            interop="R03",
            order=order,
        )
        frame = open_burst(path).frames[0]
        assert frame.taken == datetime(2024, 5, 1, 20, 30, 15, 250000, tzinfo=UTC)
        assert frame.shutter_s == pytest.approx(1 / 3)
        assert frame.camera == "Maker M1"
        assert frame.encoding.space is ADOBE_RGB
        loaded = Image.Exif()
        assert frame.exif is not None
        loaded.load(frame.exif)
        assert loaded[271] == "Maker Corp."


def test_a_jpeg_that_claims_to_be_enormous_is_refused_from_its_header(tmp_path: Path) -> None:
    """65000 x 65000 pixels would want 12 GB before the first of them is decoded."""
    path = tmp_path / "a.jpg"
    Image.new("RGB", (16, 16)).save(path)
    data = bytearray(path.read_bytes())
    start = data.index(b"\xff\xc0")
    data[start + 5 : start + 9] = (65000).to_bytes(2, "big") * 2
    path.write_bytes(data)
    with pytest.raises(FrameError) as caught:
        open_burst(path)
    assert caught.value.code == "frame-too-large"


def vast_gif() -> bytes:
    """Return a sound GIF whose header claims 65535 x 65535 pixels."""
    with io.BytesIO() as file:
        Image.new("P", (4, 4)).save(file, "GIF")
        data = file.getvalue()
    return data[:6] + struct.pack("<2H", 65535, 65535) + data[10:]


@pytest.mark.parametrize(
    ("data", "told"),
    [(vast_gif(), "more pixels than any frame"), (b"GIF89a" + bytes(20), "picture is damaged")],
    ids=["vast", "empty"],
)
def test_what_a_library_says_is_told_in_our_words(tmp_path: Path, data: bytes, told: str) -> None:
    path = tmp_path / "a.gif"
    path.write_bytes(data)
    error = refusal(path)
    assert told in str(error) and "<" not in str(error) and error.remedy
