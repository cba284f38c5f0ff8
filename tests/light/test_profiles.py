"""Embedded profiles of every sort, against Little CMS as an independent reader of them."""

import imagecodecs
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.light.convert import IntoOneSpace, conversion, convert_light
from stacker.light.curves import LINEAR, ParametricCurve
from stacker.light.device import ChannelCurves, Tables
from stacker.light.embedded import encoding_of_profile
from stacker.light.encoding import Encoding, decode
from stacker.light.icc import D50, ProfileError, build_profile
from stacker.light.space import (
    ADOBE_RGB,
    DISPLAY_P3,
    REC2020,
    SRGB,
    linear_twin,
    same_space,
)
from tests.made_profiles import (
    curv,
    fixed,
    lut16,
    lut_a_to_b,
    matrix_tags,
    para,
    profile,
    sampled,
    table_profile,
    xyz,
)

SRGB_NUMBERS = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)
CHAD = b"sf32\0\0\0\0" + fixed(1.048, 0.023, -0.05, 0.03, 0.99, -0.017, -0.009, 0.015, 0.752)
# wider than anything a display shows, with primaries that are no colours (ROMM RGB, ISO 22028-2)
PROPHOTO = ((0.7977, 0.1352, 0.0313), (0.288, 0.7119, 0.0001), (0.0, 0.0, 0.8249))
UNADAPTED = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
CURVES = {
    "a gamma in 256ths": curv([563]),
    "straight": curv([]),
    "1024 samples": sampled(SRGB.curve, 1024),
    "4096 samples": sampled(ParametricCurve(1.8), 4096),
    "type 0": para(0, 1.8),
    "type 1": para(1, 2.2, 0.95, 0.05),
    "type 1 with a foot": para(1, 2.2, 1.1, -0.1),
    "type 2": para(2, 2.2, 0.9, 0.05, 0.01),
    "type 3": para(3, *SRGB_NUMBERS),
    "type 4": para(4, *SRGB_NUMBERS, 0.001, 0.001),
}
PROFILES = {
    **{name: profile(matrix_tags(ADOBE_RGB.to_xyz, curve)) for name, curve in CURVES.items()},
    "Adobe RGB": ADOBE_RGB.icc,
    "Display P3": DISPLAY_P3.icc,
    "Rec. 2020": REC2020.icc,
    "ROMM RGB": build_profile("wide", ParametricCurve(1.8), PROPHOTO),
    "a chad that is in the colorants already": profile(
        {b"chad": CHAD, **matrix_tags(SRGB.to_xyz, curv([563]))}, version=4
    ),
    "colorants never adapted": profile(
        {**matrix_tags(UNADAPTED, curv([563])), b"wtpt": xyz(0.9505, 1.0, 1.0891)}
    ),
    "three curves": profile(
        matrix_tags(DISPLAY_P3.to_xyz, curv([563]), sampled(SRGB.curve, 256), para(0, 1.8))
    ),
}


def codes(stored: str = "uint16") -> np.ndarray:
    """Return random numbers with black, white and the primaries among them."""
    rng = np.random.default_rng(3)
    pixels = rng.integers(0, 65536, (60, 70, 3)).astype(np.uint16)
    pixels[0, :8] = np.array(list(np.ndindex(2, 2, 2))) * 65535
    if stored == "float32":
        return (pixels / 65535).astype(np.float32)
    return (pixels >> 8).astype(np.uint8) if stored == "uint8" else pixels


def in_rec2020(pixels: np.ndarray, icc: bytes) -> np.ndarray:
    """Return light as our own reading of the profile has it."""
    encoding = encoding_of_profile(icc, str(pixels.dtype))
    light = decode(pixels, encoding)
    if encoding.is_light:
        # the reader of the file does this
        light = encoding.curve.to_light(pixels).astype(np.float32)
    convert_light(light, conversion(encoding.space, REC2020), out=light)
    return light


def by_little_cms(pixels: np.ndarray, icc: bytes) -> np.ndarray:
    return np.asarray(
        imagecodecs.cms_transform(
            pixels, icc, linear_twin(REC2020).icc, colorspace="rgb", outcolorspace="rgb",
            outdtype="float32", intent=imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC,
        )
    )  # fmt: skip


@pytest.mark.parametrize("name", PROFILES)
@pytest.mark.parametrize("stored", ["uint8", "uint16", "float32"])
def test_light_is_what_little_cms_makes_of_it(name, stored):
    pixels = codes(stored)
    # 16 bits behind the point in the nine numbers of the target's matrix that Little CMS inverts
    np.testing.assert_allclose(
        in_rec2020(pixels, PROFILES[name]), by_little_cms(pixels, PROFILES[name]), atol=5e-5
    )


class TestTables:
    @pytest.mark.parametrize(
        "icc",
        [
            table_profile(),
            table_profile(device=b"prtr"),
            profile({b"A2B0": lut_a_to_b(ADOBE_RGB.to_xyz, para(0, 563 / 256))}, version=4),
            profile(
                {b"A2B1": lut16(ADOBE_RGB.to_xyz, ADOBE_RGB.curve),
                 **matrix_tags(SRGB.to_xyz, curv([256]))}, device=b"mntr",
            ),
        ],
        ids=["lut16", "output device", "lutAToB", "tables before the matrix"],
    )  # fmt: skip
    @pytest.mark.parametrize("stored", ["uint8", "uint16", "float32"])
    def test_say_the_same_as_the_matrix_they_were_made_from(self, icc, stored):
        pixels = codes(stored)
        wanted = ADOBE_RGB.curve.to_light(pixels / (1 if stored == "float32" else pixels.max()))
        wanted = wanted @ np.array(conversion(ADOBE_RGB, REC2020)).T
        encoding = encoding_of_profile(icc, stored)
        assert isinstance(encoding.device, Tables) and encoding.space is REC2020
        assert not encoding.is_light
        # tables hold 16 bits, of light from 0 to 2; black is taken to black
        np.testing.assert_allclose(decode(pixels, encoding), wanted, atol=1e-4)

    def test_what_lies_outside_rec2020_is_kept(self):
        icc = profile({b"A2B0": lut_a_to_b(PROPHOTO, para(0, 1.8))}, version=4)
        light = decode(np.array([[[0, 65535, 0]]], np.uint16), encoding_of_profile(icc, "uint16"))
        wanted = np.linalg.solve(REC2020.to_xyz, np.array(PROPHOTO)[:, 1])
        np.testing.assert_allclose(light[0, 0], wanted, atol=1e-4)
        assert light.min() < -0.01

    def test_broken_tables_are_refused(self, capfd):
        for table in (b"mft2", lut16(SRGB.to_xyz, SRGB.curve)[:300], b"rubbish in here"):
            with pytest.raises(ProfileError):
                encoding_of_profile(profile({b"A2B0": table}), "uint8")
        assert capfd.readouterr() == ("", "")

    def test_frames_of_one_profile_agree(self):
        one, two = (encoding_of_profile(table_profile(), "uint8") for _ in range(2))
        assert one == two and hash(one) == hash(two)
        assert one.name == "Scanner of the harbour office"


def test_three_curves_leave_in_the_profiles_own_primaries():
    encoding = encoding_of_profile(PROFILES["three curves"], "uint8")
    assert isinstance(encoding.device, ChannelCurves)
    np.testing.assert_allclose(encoding.space.to_xyz, DISPLAY_P3.to_xyz, atol=2e-5)
    assert encoding.space.curve == SRGB.curve
    again = encoding_of_profile(encoding.space.icc, "uint8")
    assert same_space(again.space, encoding.space)


class TestGray:
    def test_the_curve_counts_and_the_result_is_srgb(self):
        icc = profile({b"kTRC": curv([461])}, numbers=b"GRAY")
        encoding = encoding_of_profile(icc, "uint8", gray=True)
        assert encoding.space is SRGB and encoding.device is None
        light = decode(np.full((1, 1, 3), 128, np.uint8), encoding)
        np.testing.assert_allclose(light, (128 / 255) ** (461 / 256), rtol=1e-6)

    def test_is_refused_for_colours_and_without_a_curve(self):
        with pytest.raises(ProfileError, match="colours"):
            encoding_of_profile(profile({b"kTRC": curv([461])}, numbers=b"GRAY"), "uint8")
        lightness = profile({b"kTRC": curv([])}, numbers=b"GRAY", pcs=b"Lab ")
        for icc in (lightness, profile({}, numbers=b"GRAY")):
            with pytest.raises(ProfileError):
                encoding_of_profile(icc, "uint8", gray=True)

    def test_a_profile_for_colours_counts_for_gray(self):
        encoding = encoding_of_profile(ADOBE_RGB.icc, "uint8", gray=True)
        assert encoding.space.icc == ADOBE_RGB.icc


FLAT = ((0.4, 0.4, 0.1642), (0.5, 0.5, 0.0), (0.4, 0.4, 0.0249))


@pytest.mark.parametrize(
    "icc",
    [
        profile(matrix_tags(SRGB.to_xyz, curv([563])), numbers=b"CMYK"),
        profile(matrix_tags(SRGB.to_xyz, curv([563])), device=b"link"),
        profile(matrix_tags(SRGB.to_xyz, curv([563])), pcs=b"Lab "),
        profile(matrix_tags(SRGB.to_xyz, curv([0]))),
        profile(matrix_tags(SRGB.to_xyz, curv([65535, 0]))),
        profile(matrix_tags(SRGB.to_xyz, curv([0, 40000, 20000, 65535]))),
        profile(matrix_tags(SRGB.to_xyz, curv([700, 700]))),
        profile(matrix_tags(SRGB.to_xyz, para(0, -2.0))),
        profile(matrix_tags(SRGB.to_xyz, para(3, 2.4, 0.9, 0.1, -0.5, 0.04))),
        profile(matrix_tags(SRGB.to_xyz, para(1, 2.2, 0.0, 0.5))),
        profile(matrix_tags(SRGB.to_xyz, para(0, 2.2)[:8] + b"\0\7" + para(0, 2.2)[10:])),
        profile(matrix_tags(SRGB.to_xyz, b"curv\0\0\0\0\xff\xff\xff\xff")),
        profile(matrix_tags(SRGB.to_xyz, b"text\0\0\0\0 rubbish")),
        profile(matrix_tags(FLAT, curv([563]))),
        profile({}),
    ],
    ids=[
        "cmyk", "link", "matrix of Lab", "gamma 0", "falls", "falls within", "flat",
        "gamma below 0", "foot falls", "no slope", "unknown type", "absurd count", "no curve",
        "flat matrix", "nothing",
    ],
)  # fmt: skip
def test_unusable_profiles_are_refused(icc):
    with pytest.raises(ProfileError):
        encoding_of_profile(icc, "uint8")


@given(st.data())
def test_damaged_tables_never_crash(data):
    icc = bytearray(table_profile())
    for _ in range(data.draw(st.integers(1, 6))):
        icc[data.draw(st.integers(0, 400))] = data.draw(st.integers(0, 255))
    try:
        encoding = encoding_of_profile(bytes(icc), "uint8")
    except ProfileError:
        return
    assert decode(codes("uint8")[:2], encoding).dtype == np.float32


class TestConversion:
    def test_white_stays_white(self):
        for one in (SRGB, ADOBE_RGB, DISPLAY_P3, REC2020):
            np.testing.assert_allclose(np.sum(one.to_xyz, axis=1), D50, atol=1e-12)
            for two in (SRGB, ADOBE_RGB, DISPLAY_P3, REC2020):
                white = np.sum(conversion(one, two), axis=1)
                np.testing.assert_allclose(white, 1.0, atol=1e-12)

    @given(st.integers(1, 40), st.integers(1, 70), st.integers(0, 2**31))
    def test_bands_and_place_do_not_matter(self, rows, width, seed):
        light = np.random.default_rng(seed).random((rows, width, 3)).astype(np.float32)
        matrix = conversion(ADOBE_RGB, SRGB)
        whole, parts = np.empty_like(light), light.copy()
        convert_light(light, matrix, out=whole)
        for top in range(0, rows, 3):
            convert_light(parts[top : top + 3], matrix, out=parts[top : top + 3])
        np.testing.assert_array_equal(whole, parts)
        # float32 rounds each of five steps
        np.testing.assert_allclose(whole, light @ np.array(matrix).T, atol=1e-6)

    def test_only_the_frames_that_need_it_are_changed(self):
        into = IntoOneSpace({1: conversion(DISPLAY_P3, SRGB)})
        light = np.array([[[0.0, 1.0, 0.0]]], np.float32)
        into(light, 0)
        assert light.tolist() == [[[0.0, 1.0, 0.0]]]
        into(light, 1)
        # the green of Display P3 lies outside sRGB: known values of the published matrix
        np.testing.assert_allclose(light[0, 0], [-0.2249, 1.0421, -0.0786], atol=1e-3)


def test_linear_profiles_go_on_below_black():
    """Programs that read the file see what lies outside the space's primaries."""
    dark = np.array([[[-0.25, 0.5, 1.5]]], np.float32)
    np.testing.assert_allclose(by_little_cms(dark, linear_twin(REC2020).icc), dark, atol=5e-5)
    assert encoding_of_profile(linear_twin(SRGB).icc, "uint8").curve == LINEAR
    assert Encoding("uint8", SRGB).name == "sRGB"
