"""AVIF files: codes, depth, colour and turning."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from stacker.burst import Burst, open_burst
from stacker.burst.orientation import turn_upright
from stacker.errors import FrameError
from stacker.light.h273 import numbered_space
from stacker.light.space import BT709, DISPLAY_P3, SRGB
from tests.burst.made_files import picture

Pixels = np.typing.NDArray[Any]
SIZE = (48, 32)


def read(path: Path) -> tuple[Burst, Pixels]:
    burst = open_burst(path)
    ((_, pixels),) = burst.decode([0])
    assert pixels.dtype == burst.encoding.stored and pixels.flags.c_contiguous
    assert pixels.shape == (burst.size[1], burst.size[0], 3)
    return burst, pixels


def write_avif(path: Path, codes: Pixels, **options: Any) -> Path:
    path.write_bytes(imagecodecs.avif_encode(codes, level=100, **options))
    return path


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_codes_come_back_exactly_at_their_full_range(tmp_path, bits):
    top = (1 << bits) - 1
    codes = np.random.default_rng(0).integers(0, top + 1, (*SIZE[::-1], 3))
    codes[0, 0] = top
    codes = codes.astype(np.uint8 if bits == 8 else np.uint16)
    path = write_avif(tmp_path / "a.avif", codes, bitspersample=bits)
    burst, pixels = read(path)
    full = 255 if bits == 8 else 65535
    np.testing.assert_array_equal(pixels, np.rint(codes * (full / top)))
    assert burst.encoding.space is SRGB and burst.warnings == ()


def test_gray_and_transparency(tmp_path):
    codes = picture(size=SIZE)
    _, gray = read(write_avif(tmp_path / "gray.avif", codes[..., 0]))
    np.testing.assert_array_equal(gray, np.repeat(codes[..., :1], 3, axis=2))
    alpha = np.dstack([codes, codes[..., :1]])
    burst, pixels = read(write_avif(tmp_path / "alpha.avif", alpha))
    np.testing.assert_array_equal(pixels, codes)
    assert "transparency" in burst.warnings[0]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_once(tmp_path, orientation):
    exif = Image.Exif()
    exif[274] = orientation
    still = Image.fromarray(picture(size=SIZE))
    still.save(tmp_path / "plain.avif", quality=100)
    still.save(tmp_path / "a.avif", quality=100, exif=exif)
    _, plain = read(tmp_path / "plain.avif")
    _, pixels = read(tmp_path / "a.avif")
    np.testing.assert_array_equal(pixels, turn_upright(plain, orientation))


@pytest.mark.parametrize(
    ("primaries", "curve", "space", "words"),
    [
        (1, 13, SRGB, ""),
        (12, 13, DISPLAY_P3, ""),
        (1, 1, BT709, ""),
        (9, 16, numbered_space(9, 16), "--exposure 5.6"),
        (10, 13, SRGB, "primaries (number 10)"),
    ],
)
def test_colour_by_numbers(tmp_path, primaries, curve, space, words):
    path = write_avif(tmp_path / "a.avif", picture(size=SIZE), primaries=primaries, transfer=curve)
    burst, _ = read(path)
    assert burst.encoding.space is space
    assert words in "".join(burst.warnings) and bool(burst.warnings) == bool(words)


def test_a_profile_counts(tmp_path):
    still = Image.fromarray(picture(size=SIZE))
    still.save(tmp_path / "a.avif", icc_profile=DISPLAY_P3.icc)
    assert read(tmp_path / "a.avif")[0].encoding.space.icc == DISPLAY_P3.icc


def test_every_cut_is_noticed(tmp_path):
    path = write_avif(tmp_path / "a.avif", picture(size=SIZE))
    data = path.read_bytes()
    for length in [*range(12, len(data), 97), len(data) - 1]:
        path.write_bytes(data[:length])
        with pytest.raises(FrameError) as caught:
            read(path)
        assert caught.value.code == "frame-truncated"
    # nothing in the place of the picture
    start = data.index(b"mdat") + 4
    path.write_bytes(data[:start] + bytes(len(data) - start))
    with pytest.raises(FrameError, match=r"a\.avif"):
        read(path)
