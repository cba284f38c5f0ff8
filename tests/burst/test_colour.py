"""Bursts whose frames bring profiles: of one sort, of several, of tables, broken."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from stacker.burst import open_burst
from stacker.errors import FrameError
from stacker.light.convert import conversion
from stacker.light.encoding import Encoding, decode
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, REC2020, SRGB
from tests.burst.made_files import Pixels, jpeg_bytes, picture, segment
from tests.made_profiles import curv, matrix_tags, para, profile, sampled, table_profile

TABLES = table_profile()
THREE_CURVES = profile(matrix_tags(SRGB.to_xyz, curv([563]), sampled(SRGB.curve, 99), para(0, 1.9)))
GRAY = profile({b"kTRC": curv([461])}, numbers=b"GRAY")
# numbers of a profile have 16 bits behind the point
ROUNDED = 1e-4


def write(path: Path, icc: bytes | None, pixels: Pixels | None = None) -> Pixels:
    """Write a frame without loss, and return its pixels."""
    pixels = picture(len(path.name) + ord(path.stem[-1])) if pixels is None else pixels
    if path.suffix == ".tif":
        photometric = "rgb" if pixels.ndim == 3 else "minisblack"
        tifffile.imwrite(path, pixels, photometric=photometric, iccprofile=icc)
    else:
        Image.fromarray(pixels).save(path, icc_profile=icc, **_LOSSLESS[path.suffix])
    return pixels


_LOSSLESS: dict[str, dict[str, bool]] = {".png": {}, ".webp": {"lossless": True}}


def light_of(folder: Path, place: int = 0) -> Pixels:
    burst = open_burst(folder)
    ((_, light),) = burst.decode([place])
    assert burst.encoding.is_light
    return light


class TestOneProfile:
    @pytest.mark.parametrize("suffix", [".tif", ".png", ".webp"])
    @pytest.mark.parametrize("icc", [TABLES, THREE_CURVES], ids=["tables", "three curves"])
    def test_that_is_no_curve_gives_light(self, tmp_path: Path, suffix: str, icc: bytes) -> None:
        pixels = [write(tmp_path / f"{n}{suffix}", icc) for n in range(3)]
        burst = open_burst(tmp_path, interval_s=1.0, frame_shutter_s=1.0)
        assert burst.by_light and not burst.corrections
        out = np.empty(pixels[0].shape, np.float32)
        for place in range(3):
            assert burst.is_converted(place)
            ((_, light),) = burst.decode([place], out=out)
            assert light is out
            encoding = burst.frames[place].encoding
            np.testing.assert_array_equal(light, decode(pixels[place], encoding))
        if icc is TABLES:
            assert burst.encoding.space is REC2020
            assert [w for w in burst.warnings if "tables" in w and "and 2 more" in w]
            wanted = ADOBE_RGB.curve.to_light(pixels[2] / 255)
            wanted = wanted @ np.array(conversion(ADOBE_RGB, REC2020)).T
            np.testing.assert_allclose(out, wanted, atol=ROUNDED)
        else:
            assert burst.warnings == ()

    def test_of_tables_in_a_jpeg(self, tmp_path: Path) -> None:
        parts = [TABLES[n : n + 60000] for n in range(0, len(TABLES), 60000)]
        chunks = [
            segment(0xE2, b"ICC_PROFILE\0" + bytes([n + 1, len(parts)]) + part)
            for n, part in enumerate(parts)
        ]
        path = tmp_path / "a.jpg"
        path.write_bytes(jpeg_bytes(picture(), *chunks))
        assert open_burst(path).encoding == Encoding("float32", REC2020)

    def test_of_a_float_tiff(self, tmp_path: Path) -> None:
        for icc in (TABLES, THREE_CURVES):
            pixels = write(tmp_path / "a.tif", icc, picture(dtype="float32"))
            burst = open_burst(tmp_path)
            ((_, light),) = burst.decode([0])
            np.testing.assert_array_equal(light, decode(pixels, burst.frames[0].encoding))
            assert not np.allclose(light, pixels, atol=0.05)

    def test_for_gray_counts_in_gray_pictures(self, tmp_path: Path) -> None:
        gray = write(tmp_path / "a.tif", GRAY, picture()[..., 0].copy())
        png = write(tmp_path / "b.png", GRAY, gray)
        burst = open_burst(tmp_path, interval_s=1.0, frame_shutter_s=1.0)
        assert burst.encoding.space is SRGB and burst.warnings == ()
        for place in (0, 1):
            light = burst.reduced_light(place, 1)
            wanted = np.repeat((png[..., np.newaxis] / 255) ** (461 / 256), 3, axis=2)
            np.testing.assert_allclose(light, wanted, atol=1e-6)

    def test_for_gray_is_of_no_use_for_colours(self, tmp_path: Path) -> None:
        write(tmp_path / "a.tif", GRAY)
        burst = open_burst(tmp_path)
        assert burst.encoding.space is SRGB and "taken as sRGB" in burst.warnings[0]


class TestDifferentProfiles:
    def test_come_into_the_first_frames_space(self, tmp_path: Path) -> None:
        profiles = [None, None, DISPLAY_P3.icc, None, ADOBE_RGB.icc, DISPLAY_P3.icc]
        pixels = [write(tmp_path / f"{n}.png", icc) for n, icc in enumerate(profiles)]
        burst = open_burst(tmp_path)
        assert burst.encoding == Encoding("float32", SRGB)
        assert all(frame.problem is None for frame in burst.frames)
        spaces = [SRGB, SRGB, DISPLAY_P3, SRGB, ADOBE_RGB, DISPLAY_P3]
        for place, space in enumerate(spaces):
            ((_, light),) = burst.decode([place])
            wanted = space.curve.to_light(pixels[place] / 255)
            wanted = wanted @ np.array(conversion(space, SRGB)).T
            np.testing.assert_allclose(light, wanted, atol=ROUNDED)
            assert burst.is_converted(place) == (space is not SRGB)
        assert burst.warnings[:2] == (
            "2.png and 1 more: in Display P3, other than the burst's first frame; "
            "converted to sRGB.",
            "4.png: in Adobe RGB (1998), other than the burst's first frame; converted to sRGB.",
        )

    def test_may_differ_in_their_curve_alone(self, tmp_path: Path) -> None:
        other = profile(matrix_tags(SRGB.to_xyz, curv([512])))
        write(tmp_path / "1.png", None)
        pixels = write(tmp_path / "2.png", other)
        np.testing.assert_allclose(light_of(tmp_path, 1), (pixels / 255) ** 2, atol=ROUNDED)

    @pytest.mark.parametrize("tables_first", [True, False])
    def test_tables_beside_a_matrix(self, tmp_path: Path, tables_first: bool) -> None:
        """The tables say what Adobe RGB is: equal pixels are equal light."""
        pair = (TABLES, ADOBE_RGB.icc) if tables_first else (ADOBE_RGB.icc, TABLES)
        for name, icc in zip(("1.tif", "2.tif"), pair, strict=True):
            write(tmp_path / name, icc, picture())
        burst = open_burst(tmp_path)
        assert burst.encoding.space.name == ("Rec. 2020" if tables_first else "Adobe RGB (1998)")
        one, two = light_of(tmp_path, 0), light_of(tmp_path, 1)
        np.testing.assert_allclose(one, two, atol=2 * ROUNDED)

    def test_those_that_agree_stay_codes(self, tmp_path: Path) -> None:
        for number in range(3):
            write(tmp_path / f"{number}.png", DISPLAY_P3.icc)
        burst = open_burst(tmp_path)
        assert burst.encoding.stored == "uint8" and not burst.by_light
        assert not any(burst.is_converted(place) for place in range(3))

    def test_are_refused_by_the_strict(self, tmp_path: Path) -> None:
        for number, icc in enumerate((None, ADOBE_RGB.icc, None)):
            write(tmp_path / f"{number}.png", icc)
        burst = open_burst(tmp_path, strict=True)
        problems = [frame.problem and frame.problem.code for frame in burst.frames]
        assert problems == [None, "frame-colour", None]
        assert not burst.by_light


class TestBrokenProfiles:
    def test_are_taken_as_srgb_with_a_word(self, tmp_path: Path) -> None:
        write(tmp_path / "a.png", SRGB.icc[:200])
        burst = open_burst(tmp_path)
        assert burst.encoding == Encoding("uint8", SRGB)
        assert burst.warnings[0].endswith("taken as sRGB.")

    def test_are_taken_as_the_bursts_where_it_has_one(self, tmp_path: Path) -> None:
        for number, icc in enumerate((SRGB.icc[:200], DISPLAY_P3.icc, DISPLAY_P3.icc)):
            write(tmp_path / f"{number}.png", icc)
        burst = open_burst(tmp_path)
        assert burst.encoding.space.icc == DISPLAY_P3.icc and not burst.by_light
        assert burst.warnings[0].startswith("0.png: ")
        assert burst.warnings[0].endswith("taken as Display P3.")

    def test_are_refused_by_the_strict(self, tmp_path: Path) -> None:
        write(tmp_path / "a.png", SRGB.icc[:200])
        with pytest.raises(FrameError) as caught:
            open_burst(tmp_path, strict=True)
        assert caught.value.code == "frame-colour" and "--strict" in str(caught.value)
        write(tmp_path / "b.png", None)
        burst = open_burst(tmp_path, strict=True)
        assert [frame.problem is None for frame in burst.frames] == [False, True]

    def test_parts_that_are_missing_count_as_broken(self, tmp_path: Path) -> None:
        path = tmp_path / "a.jpg"
        path.write_bytes(jpeg_bytes(picture(), segment(0xE2, b"ICC_PROFILE\0\1\2" + SRGB.icc)))
        with pytest.raises(FrameError, match="not all there"):
            open_burst(path, strict=True)

    def test_float_numbers_beside_one_are_light(self, tmp_path: Path) -> None:
        pixels = write(tmp_path / "a.tif", SRGB.icc[:200], picture(dtype="float32"))
        burst = open_burst(tmp_path)
        ((_, light),) = burst.decode([0])
        np.testing.assert_array_equal(light, pixels)
