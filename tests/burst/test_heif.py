"""HEIC files: codes, depth, colour, turning and several pictures in one file."""

from __future__ import annotations

import io
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest

from stacker.burst import open_burst
from stacker.burst.orientation import turn_upright
from stacker.errors import FrameError
from stacker.light.h273 import numbered_space
from stacker.light.space import ADOBE_RGB, BT709, DISPLAY_P3, SRGB
from tests.burst.made_files import exif_block, picture

Pixels = np.typing.NDArray[Any]
SIZE = (48, 32)
# lossless, full colour resolution, and RGB as it is in place of luma and chroma
EXACT = {"quality": -1, "chroma": "444", "matrix_coefficients": 0}


def heif_file(*pictures: Pixels, mode: str) -> pillow_heif.HeifFile:
    file = pillow_heif.HeifFile()
    for pixels in pictures:
        file.add_frombytes(mode, (pixels.shape[1], pixels.shape[0]), pixels.tobytes())
    return file


def write_heif(path: Path, *pictures: Pixels, mode: str = "RGB", **options: Any) -> Path:
    data = io.BytesIO()
    heif_file(*pictures, mode=mode).save(data, **{**EXACT, **options})
    path.write_bytes(data.getvalue())
    return path


def read(path: Path) -> list[Pixels]:
    burst = open_burst(path)
    found = []
    for _, pixels in burst.decode(range(len(burst.frames))):
        assert pixels.dtype == burst.encoding.stored and pixels.flags.c_contiguous
        assert pixels.shape == (burst.size[1], burst.size[0], 3)
        found.append(pixels.copy())
    return found


def refusal(path: Path) -> FrameError:
    with pytest.raises(FrameError) as caught:
        read(path)
    assert path.name in str(caught.value)
    return caught.value


def noise(seed: int = 0) -> Pixels:
    return picture(seed, size=SIZE)


def test_eight_bits_come_back_exactly(tmp_path):
    path = write_heif(tmp_path / "a.heic", noise())
    burst = open_burst(path)
    assert burst.encoding.stored == "uint8" and burst.encoding.space is SRGB
    assert burst.warnings == ()
    np.testing.assert_array_equal(read(path)[0], noise())


@pytest.mark.parametrize("bits", [10, 12])
def test_deep_codes_fill_sixteen_bits(tmp_path, monkeypatch, bits):
    monkeypatch.setattr(pillow_heif.options, "SAVE_HDR_TO_12_BIT", bits == 12)
    top = (1 << bits) - 1
    codes = np.random.default_rng(0).integers(0, top + 1, (*SIZE[::-1], 3)).astype(np.uint16)
    codes[0, 0], codes[0, 1] = 0, top
    # the writer takes sixteen bits and keeps the upper ones
    path = write_heif(tmp_path / "a.heic", codes << (16 - bits), mode="RGB;16")
    (pixels,) = read(path)
    np.testing.assert_array_equal(pixels, np.rint(codes * (65535 / top)))
    assert pixels[0, 0].tolist() == [0, 0, 0] and pixels[0, 1].tolist() == [65535] * 3


@pytest.mark.parametrize("bits", [8, 10])
def test_gray_becomes_rgb(tmp_path, bits):
    gray = noise()[..., :1]
    options: dict[str, Any] = {"matrix_coefficients": 6}
    if bits == 10:
        gray, options["mode"] = gray.astype(np.uint16) << 8, "L;16"
    path = write_heif(tmp_path / "a.heic", gray, **{"mode": "L", **options})
    (pixels,) = read(path)
    assert (pixels == pixels[..., :1]).all()
    top = 255 if bits == 8 else 65535
    # a gray picture goes through luma: one code of its depth
    wanted = gray / (255 if bits == 8 else 65535)
    np.testing.assert_allclose(pixels / top, np.repeat(wanted, 3, axis=2), atol=1.1 / 255)


def test_transparency_is_left_out_with_a_word(tmp_path):
    alpha = np.concatenate([noise(), np.full((*SIZE[::-1], 1), 128, np.uint8)], axis=2)
    path = write_heif(tmp_path / "a.heic", alpha, mode="RGBA")
    assert "transparency" in open_burst(path).warnings[0]
    np.testing.assert_array_equal(read(path)[0], noise())


@pytest.mark.parametrize("space", [ADOBE_RGB, DISPLAY_P3])
def test_a_profile_counts(tmp_path, space):
    path = write_heif(tmp_path / "a.heic", noise(), icc_profile=space.icc, icc_profile_type="prof")
    assert open_burst(path).encoding.space.icc == space.icc


@pytest.mark.parametrize(
    ("primaries", "curve", "space", "words"),
    [
        (1, 13, SRGB, ""),
        (1, 1, BT709, ""),
        (12, 13, DISPLAY_P3, ""),
        (9, 13, numbered_space(9, 13), ""),
        (10, 13, SRGB, "primaries (number 10)"),
        (9, 18, numbered_space(9, 18), "--exposure 1.9"),
        (1, 17, SRGB, "transfer curve (number 17)"),
    ],
)
def test_colour_by_numbers(tmp_path, primaries, curve, space, words):
    path = write_heif(
        tmp_path / "a.heic", noise(), color_primaries=primaries, transfer_characteristics=curve
    )
    burst = open_burst(path)
    assert burst.encoding.space is space
    assert words in "".join(burst.warnings) and bool(burst.warnings) == bool(words)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_once_not_twice(tmp_path, orientation):
    """The library turns by the file's own property; Exif, which says the same, is left alone."""
    block = exif_block(orientation=orientation, taken=datetime(2026, 6, 1, 12), shutter=(1, 8))
    path = write_heif(tmp_path / "a.heic", noise(), exif=block)
    np.testing.assert_array_equal(read(path)[0], turn_upright(noise(), orientation))
    (frame,) = open_burst(path).frames
    assert (frame.taken, frame.shutter_s) == (datetime(2026, 6, 1, 12), 0.125)


def test_several_pictures_are_several_frames(tmp_path):
    path = write_heif(tmp_path / "a.heic", noise(0), noise(1), noise(2))
    names = [frame.name for frame in open_burst(path).frames]
    assert names == ["a.heic#0001", "a.heic#0002", "a.heic#0003"]
    for seed, pixels in enumerate(read(path)):
        wanted = noise(seed)
        # only the first is written as RGB; the others go through luma and chroma
        assert np.abs(pixels.astype(int) - wanted).max() <= (0 if seed == 0 else 2)


def test_pictures_of_another_size_are_left_out(tmp_path):
    path = write_heif(tmp_path / "a.heic", noise(0), picture(1, size=(24, 16)), noise(2))
    burst = open_burst(path)
    assert len(burst.frames) == 2 and burst.size == SIZE
    assert "left out" in burst.warnings[0]


def test_out_is_filled_with_deep_codes(tmp_path):
    path = write_heif(tmp_path / "a.heic", noise().astype(np.uint16) << 8, mode="RGB;16")
    burst = open_burst(path)
    out = np.zeros((*SIZE[::-1], 3), np.uint16)
    ((_, pixels),) = burst.decode([0], out=out)
    assert np.shares_memory(pixels, out) and out.any()


def test_every_cut_is_noticed(tmp_path):
    path = write_heif(tmp_path / "a.heic", noise())
    data = path.read_bytes()
    for length in [*range(12, len(data), 97), len(data) - 1]:
        path.write_bytes(data[:length])
        assert refusal(path).code == "frame-truncated"


def test_damage_is_an_error(tmp_path):
    path = write_heif(tmp_path / "a.heic", noise())
    data = path.read_bytes()
    # where the file says which item is the picture
    path.write_bytes(data.replace(b"pitm", b"xxxx").replace(b"iloc", b"xxxx"))
    assert refusal(path).code == "frame-unreadable"
    path.write_bytes(b"")
    assert refusal(path).code == "frame-empty"


def test_without_the_library_the_error_names_the_extra(tmp_path, monkeypatch):
    path = write_heif(tmp_path / "a.heic", noise())
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    error = refusal(path)
    assert error.code == "library-missing" and "stacker[heif]" in error.remedy
