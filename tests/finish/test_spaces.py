"""Leaving in another colour space: right, told, and the same by bands."""

from __future__ import annotations

from pathlib import Path

import cv2
import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from stacker.errors import OptionError
from stacker.finish import Tone, leaving_space
from stacker.finish.spaces import SPACES, Outgoing
from stacker.light.encoding import as_light
from stacker.light.icc import build_profile
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, REC2020, SRGB, ColourSpace, linear_twin

from .pictures import HEIGHT, WIDTH, coded, cut, save, smooth_light

PIXELS = WIDTH * HEIGHT


@pytest.mark.parametrize("name", SPACES)
@pytest.mark.parametrize("source", [SRGB, ADOBE_RGB, REC2020])
def test_codes_are_those_of_little_cms(tmp_path: Path, name: str, source: ColourSpace) -> None:
    target = SPACES[name]
    save(tmp_path / "a.tif", smooth_light(), space=source, target_space=target)
    with tifffile.TiffFile(tmp_path / "a.tif") as file:
        assert file.pages[0].tags[34675].value == target.icc
        codes = file.asarray()
    wanted = imagecodecs.cms_transform(
        smooth_light(), linear_twin(source).icc, linear_twin(target).icc, colorspace="rgb",
        outcolorspace="rgb", outdtype="float32", intent=1,  # relative colorimetric
    )  # fmt: skip
    # the nine numbers of two matrices with 16 bits behind the point
    light = target.curve.to_light(codes / 65535)
    np.testing.assert_allclose(light, np.clip(wanted, 0, 1), atol=1e-4)


@pytest.mark.parametrize("suffix", [".png", ".jpg"])
def test_the_profile_is_the_targets(tmp_path: Path, suffix: str) -> None:
    save(tmp_path / f"a{suffix}", smooth_light(), space=SRGB, target_space=DISPLAY_P3)
    with Image.open(tmp_path / f"a{suffix}") as picture:
        assert picture.info["icc_profile"] == DISPLAY_P3.icc


def test_coded_light_is_converted_as_light_is(tmp_path: Path) -> None:
    for name, picture in (("a.png", coded()), ("b.png", as_light(coded()))):
        save(tmp_path / name, picture, target_space=REC2020, tone=Tone(exposure_ev=-0.5))
    one, two = (cv2.imread(str(tmp_path / f"{n}.png"), cv2.IMREAD_UNCHANGED) for n in "ab")
    # a table's tone is worked out in float64, a picture's in float32
    np.testing.assert_allclose(one.astype(int), two.astype(int), atol=1)


@pytest.mark.parametrize("heights", [[1], [7, 20], [42]])
def test_bands_do_not_show(tmp_path: Path, heights: list[int]) -> None:
    light = smooth_light() ** 3
    options = {"space": REC2020, "target_space": SRGB, "tone": Tone(0.7, True, 2.0)}
    told = save(tmp_path / "a.tif", light, **options)
    assert save(tmp_path / "b.tif", light, bands=cut(light, heights), **options) == told
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()


class TestClipping:
    def test_its_share_is_told(self, tmp_path: Path) -> None:
        light = np.full((HEIGHT, WIDTH, 3), 0.25, np.float32)
        light[:10, 0] = (0.0, 1.0, 0.0)
        told = save(tmp_path / "a.tif", light, space=DISPLAY_P3, target_space=SRGB)
        assert told == [
            f"{10 / PIXELS:.1%} of the picture lies outside sRGB and was clipped; a wider --space "
            "or --depth 32 keeps it."
        ]

    @pytest.mark.parametrize(("pixels", "words"), [(1, "0.04%"), (PIXELS, "100.0%")])
    def test_few_and_many(self, pixels: int, words: str) -> None:
        out = Outgoing(DISPLAY_P3, SRGB)
        light = np.full((PIXELS, 1, 3), 0.5, np.float32)
        light[:pixels] = (0.0, 0.5, 0.0)
        out(light)
        assert out.warnings()[0].startswith(words)

    def test_one_in_a_million_is_told_without_a_figure(self) -> None:
        out = Outgoing(DISPLAY_P3, SRGB)
        out(np.zeros((1000, 1000, 3), np.float32))
        assert out.warnings() == []
        out(np.array([[[0, 1, 0]]], np.float32))
        assert out.warnings()[0].startswith("Less than 0.01%")

    def test_what_was_brighter_than_white_before_is_not_counted(self) -> None:
        out = Outgoing(DISPLAY_P3, SRGB)
        out(np.full((5, 5, 3), 3.0, np.float32))
        assert out.outside == 0 and out.pixels == 25

    def test_rounding_of_profiles_is_not_counted(self) -> None:
        rounded = ColourSpace(
            "", SRGB.curve, tuple(tuple(v + 2e-5 for v in r) for r in SRGB.to_xyz), b""
        )
        out = Outgoing(rounded, SRGB)
        out(np.array([[[1, 1, 1], [0, 0, 0], [1, 0, 0], [0, 1, 1]]], np.float32))
        assert out.outside == 0

    def test_floating_point_keeps_everything(self, tmp_path: Path) -> None:
        light = np.full((HEIGHT, WIDTH, 3), (0.0, 1.0, 0.0), np.float32)
        options = {"space": REC2020, "target_space": SRGB, "depth": 32}
        assert save(tmp_path / "a.tif", light, **options) == []
        written = tifffile.imread(tmp_path / "a.tif")
        # BT.2087: the green of Rec. 2020 in BT.709
        np.testing.assert_allclose(written[0, 0], [-0.5876, 1.1329, -0.1006], atol=2e-3)
        with tifffile.TiffFile(tmp_path / "a.tif") as file:
            assert file.pages[0].tags[34675].value == linear_twin(SRGB).icc

    def test_light_that_was_converted_before_is_looked_at(self, tmp_path: Path) -> None:
        light = np.full((HEIGHT, WIDTH, 3), (-0.1, 0.5, 0.5), np.float32)
        assert save(tmp_path / "a.tif", light) == []
        told = save(tmp_path / "b.tif", light, unbounded=True)
        assert told[0].startswith("100.0%")


class TestNames:
    def test_own_space_is_no_conversion(self) -> None:
        """By numbers, not by the bytes of the profile."""
        icc = build_profile("sRGB of another maker", SRGB.curve, SRGB.to_xyz)
        mine = ColourSpace("sRGB of another maker", SRGB.curve, SRGB.to_xyz, icc)
        assert leaving_space(mine, "srgb") is mine and leaving_space(mine, None) is mine
        assert leaving_space(mine, "rec2020") is REC2020
        assert leaving_space(linear_twin(SRGB), "srgb") is SRGB

    def test_unknown_ones_are_refused(self) -> None:
        with pytest.raises(OptionError, match="display-p3") as caught:
            leaving_space(SRGB, "cmyk")
        assert caught.value.code == "option-space"
