"""Transfer functions, profiles, encoding, luminance and reduced copies."""

import io

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import ImageCms

from stacker.light.buffers import LEAST_BYTES, zeros
from stacker.light.curves import LINEAR, ParametricCurve, SampledCurve
from stacker.light.embedded import encoding_of_profile
from stacker.light.encoding import CodedLight, Encoder, Encoding, as_light, decode, look_up
from stacker.light.icc import MatrixProfile, ProfileError, build_profile, parse_profile
from stacker.light.luminance import luminance
from stacker.light.reduce import reduce_light
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, REC2020, SRGB, linear_twin
from stacker.light.srgb import linear_to_srgb, srgb_to_linear

SPACES = [SRGB, ADOBE_RGB, DISPLAY_P3, REC2020, linear_twin(SRGB)]
SAMPLED = SampledCurve(tuple(np.linspace(0, 1, 64) ** 1.8))


class TestTransferFunctions:
    def test_known_values_of_srgb(self):
        """Middle grey and the break, worked by hand from IEC 61966-2-1."""
        assert srgb_to_linear(0.5) == pytest.approx(((0.5 + 0.055) / 1.055) ** 2.4, abs=1e-15)
        assert srgb_to_linear(0.04045) == pytest.approx(0.0031308, abs=1e-7)
        assert srgb_to_linear([0.0, 1.0]).tolist() == [0.0, 1.0]
        assert linear_to_srgb(0.18) == pytest.approx(0.4613561, abs=1e-6)

    @pytest.mark.parametrize("curve", [*(space.curve for space in SPACES), SAMPLED])
    def test_there_and_back(self, curve):
        code = np.linspace(0, 1, 4097)
        np.testing.assert_allclose(curve.from_light(curve.to_light(code)), code, atol=1e-9)
        assert np.all(np.diff(curve.to_light(code)) > 0)

    @pytest.mark.parametrize("curve", [*(space.curve for space in SPACES), SAMPLED])
    @pytest.mark.parametrize("stored", ["uint8", "uint16"])
    def test_every_code_comes_back_exactly(self, curve, stored):
        space = SRGB.__class__("test", curve, SRGB.to_xyz, b"")
        encoding = Encoding(stored, space)
        codes = np.arange(encoding.top + 1).astype(stored).reshape(1, -1, 1).repeat(3, axis=2)
        back = Encoder(curve).encode(decode(codes, encoding))
        np.testing.assert_array_equal(back, codes.astype(np.uint16) * (65535 // encoding.top))

    @given(st.integers(0, 2**31))
    def test_encoding_rounds_like_float64(self, seed):
        light = np.random.default_rng(seed).random(2000).astype(np.float32) ** 3
        for space in SPACES:
            wanted = space.curve.from_light(light) * 65535
            codes = Encoder(space.curve).encode(light)
            # half a code, and what float32 cannot tell at the brightest slope of 65535 * 2
            assert np.abs(codes - wanted).max() <= 0.5 + 0.01

    def test_codes_may_have_a_curve_of_their_own(self):
        """Linear codes decode straight, whatever the curve in which the result leaves."""
        encoding = Encoding("uint16", SRGB, LINEAR)
        codes = np.array([0, 1, 32768, 65535], np.uint16).reshape(1, -1, 1).repeat(3, axis=2)
        np.testing.assert_allclose(decode(codes, encoding), codes / 65535, rtol=1e-7)
        assert encoding.space is SRGB and Encoding("uint16", SRGB).curve is SRGB.curve

    def test_out_of_range_light_is_clipped(self):
        light = np.array([-1.0, 2.0, np.inf, np.nan], np.float32)
        assert Encoder(SRGB.curve).encode(light).tolist() == [0, 65535, 65535, 0]


class TestProfiles:
    @pytest.mark.parametrize("space", SPACES)
    def test_written_profiles_are_read_back(self, space):
        profile = parse_profile(space.icc)
        assert isinstance(profile, MatrixProfile)
        assert profile.description == space.name
        np.testing.assert_allclose(profile.to_xyz, space.to_xyz, atol=2e-5)
        ramp = np.linspace(0, 1, 256)
        # 16 bits behind the point in each parameter
        np.testing.assert_allclose(
            profile.curves[0].to_light(ramp), space.curve.to_light(ramp), atol=3e-5
        )

    @pytest.mark.parametrize("space", SPACES)
    def test_other_programs_understand_them(self, space):
        profile = ImageCms.ImageCmsProfile(io.BytesIO(space.icc))
        assert ImageCms.getProfileDescription(profile).strip() == space.name

    def test_white_is_d50(self):
        for space in SPACES:
            np.testing.assert_allclose(np.sum(space.to_xyz, axis=1), [0.9642, 1, 0.8249], atol=1e-4)

    def test_little_cms_converts_as_we_do(self):
        """A soft Adobe RGB green through Little CMS, against our matrices and curves."""
        from PIL import Image

        code = np.array([[[120, 170, 100]]], np.uint8)
        convert = ImageCms.buildTransform(
            ImageCms.ImageCmsProfile(io.BytesIO(ADOBE_RGB.icc)),
            ImageCms.ImageCmsProfile(io.BytesIO(DISPLAY_P3.icc)),
            "RGB", "RGB", renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )  # fmt: skip
        theirs = np.asarray(ImageCms.applyTransform(Image.fromarray(code), convert))[0, 0]
        light = np.array(ADOBE_RGB.to_xyz) @ ADOBE_RGB.curve.to_light(code[0, 0] / 255)
        ours = DISPLAY_P3.curve.from_light(np.linalg.solve(DISPLAY_P3.to_xyz, light)) * 255
        np.testing.assert_allclose(theirs, ours, atol=1.01)

    def test_a_sampled_curve_and_a_plain_gamma(self):
        icc = build_profile("sampled", SAMPLED, SRGB.to_xyz)
        ramp = np.linspace(0, 1, 200)
        read = encoding_of_profile(icc, "uint8").space
        np.testing.assert_allclose(read.curve.to_light(ramp), SAMPLED.to_light(ramp), atol=2e-4)
        gamma = parse_profile(build_profile("gamma", ParametricCurve(2.2), SRGB.to_xyz))
        assert isinstance(gamma, MatrixProfile)
        np.testing.assert_allclose(gamma.curves[1].to_light(0.5), 0.5**2.2, atol=1e-5)

    def test_pillows_srgb_is_srgb(self):
        theirs = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        space = encoding_of_profile(theirs, "uint8").space
        ramp = np.linspace(0, 1, 256)
        np.testing.assert_allclose(space.curve.to_light(ramp), srgb_to_linear(ramp), atol=2e-4)
        assert space.icc == theirs

    @pytest.mark.parametrize("cut", [0, 20, 127, 131, 200, 400])
    def test_broken_profiles_are_refused(self, cut):
        with pytest.raises(ProfileError):
            parse_profile(SRGB.icc[:cut])

    def test_profiles_of_other_kinds_are_refused(self):
        lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
        with pytest.raises(ProfileError):
            parse_profile(lab)

    @given(st.data())
    def test_damaged_profiles_never_crash(self, data):
        icc = bytearray(SRGB.icc)
        for _ in range(data.draw(st.integers(1, 8))):
            icc[data.draw(st.integers(0, len(icc) - 1))] = data.draw(st.integers(0, 255))
        try:
            profile = parse_profile(bytes(icc))
        except ProfileError:
            return
        assert profile


class TestLuminance:
    def test_weights_are_those_of_bt709_for_srgb(self):
        np.testing.assert_allclose(SRGB.luminance_weights, [0.2126, 0.7152, 0.0722], atol=1e-4)
        for space in SPACES:
            assert sum(space.luminance_weights) == pytest.approx(1)

    def test_white_is_one(self):
        white = np.ones((4, 5, 3), np.float32)
        np.testing.assert_allclose(luminance(white, SRGB.luminance_weights), 1.0, rtol=1e-6)


class TestReducedCopies:
    def test_a_fine_checkerboard_keeps_its_light(self):
        """The mean of black and white in light is code 188, not 128."""
        board = np.indices((64, 64)).sum(0) % 2 * 255
        codes = np.repeat(board[:, :, np.newaxis], 3, axis=2).astype(np.uint8)
        for factor in (2, 4, 8):
            small = reduce_light(codes, Encoding("uint8", SRGB), factor)
            assert small.shape == (64 // factor, 64 // factor, 3)
            np.testing.assert_allclose(small, 0.5, atol=1e-6)

    @pytest.mark.parametrize("factor", [1, 2, 4, 8])
    def test_centre_of_a_cell_lies_where_it_is_said_to(self, factor):
        """A ramp in x reads, at each reduced pixel, the value at the stated centre."""
        light = np.tile(np.arange(67, dtype=np.float32)[np.newaxis, :, np.newaxis], (35, 1, 3))
        small = reduce_light(light, Encoding("float32", SRGB), factor)
        centres = factor * np.arange(67 // factor) + (factor - 1) / 2
        assert small.shape == (35 // factor, 67 // factor, 3)
        np.testing.assert_allclose(small[0, :, 0], centres, rtol=1e-6)


class TestLookUp:
    @pytest.mark.parametrize("dtype", ["uint8", "uint16"])
    @pytest.mark.parametrize("kind", [np.float32, np.float64, np.uint16, np.int32])
    def test_is_indexing(self, dtype, kind):
        rng = np.random.default_rng(0)
        top = np.iinfo(dtype).max
        table = (rng.random(top + 1) * 60000).astype(kind)
        codes = rng.integers(0, top + 1, (7, 5, 3)).astype(dtype)
        np.testing.assert_array_equal(look_up(codes, table), table[codes])
        np.testing.assert_array_equal(look_up(codes[::2, 1:], table), table[codes[::2, 1:]])
        assert look_up(codes[:0], table).shape == (0, 5, 3)

    def test_coded_light_is_its_table(self):
        codes = np.array([[[0, 1, 255]]], np.uint8)
        coded = CodedLight(codes, np.arange(256) / 255)
        np.testing.assert_array_equal(as_light(coded), (codes / 255).astype(np.float32))


def test_large_buffers_are_zero_and_writable():
    for shape in ((3, 5), (LEAST_BYTES + 3,), (1000, 999, 6)):
        array = zeros(shape, np.uint8)
        assert array.shape == shape
        assert not array.any()
        array[...] = 7
        assert array.all()


def test_linear_is_linear():
    assert LINEAR.to_light(0.3) == pytest.approx(0.3)
