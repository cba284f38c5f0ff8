"""Colour by numbers: curves, primaries and matrices against the standards' own values."""

import io
import struct

import numpy as np
import pytest
from PIL import ImageCms

from stacker.light.encoding import Encoder
from stacker.light.h273 import NAMED_CURVES, SPACE_OF_PRIMARIES, numbered_space, rgb_of_ycbcr
from stacker.light.icc import parse_profile
from stacker.light.space import BT709, DISPLAY_P3, REC2020, SRGB


def oetf_bt709(light):
    """BT.709-6 item 1.2, with its own rounded constants."""
    return 4.5 * light if light < 0.018 else 1.099 * light**0.45 - 0.099


class TestCurves:
    @pytest.mark.parametrize("number", [1, 6, 11, 12, 14, 15])
    def test_what_cameras_write_is_undone(self, number):
        curve = NAMED_CURVES[number][1]
        for light in (0.0, 0.01, 0.018, 0.18, 0.5, 1.0):
            # the standard's constants are rounded to three digits
            assert curve.to_light(oetf_bt709(light)) == pytest.approx(light, abs=3e-4)

    def test_powers_and_the_straight_line(self):
        assert NAMED_CURVES[4][1].to_light(0.5) == pytest.approx(0.5**2.2, rel=1e-12)
        assert NAMED_CURVES[5][1].to_light(0.5) == pytest.approx(0.5**2.8, rel=1e-12)
        assert NAMED_CURVES[8][1].to_light(0.5) == 0.5
        # SMPTE 240M: V = 1.1115 L^0.45 - 0.1115
        assert NAMED_CURVES[7][1].to_light(1.1115 * 0.3**0.45 - 0.1115) == pytest.approx(0.3)

    @pytest.mark.parametrize("number", NAMED_CURVES)
    def test_every_code_comes_back(self, number):
        curve = NAMED_CURVES[number][1]
        codes = np.arange(65536)
        light = curve.to_light(codes / 65535).astype(np.float32)
        # SMPTE 240M's branches do not quite meet: light between them belongs to either
        off = np.abs(Encoder(curve).encode(light).astype(int) - codes)
        assert off.max() <= (4 if number == 7 else 0)


class TestSpaces:
    def test_known_ones_are_the_known_objects(self):
        assert numbered_space(1, 13) is numbered_space(2, 2) is SRGB
        assert numbered_space(12, 13) is DISPLAY_P3
        assert numbered_space(9, 14) is REC2020
        assert numbered_space(1, 1) is BT709

    @pytest.mark.parametrize(
        ("number", "luminance"),
        # the row Y of the matrices that BT.709, BT.2020 and SMPTE 170M give
        [(1, (0.2126, 0.7152, 0.0722)), (9, (0.2627, 0.6780, 0.0593)), (6, (0.212, 0.701, 0.087))],
    )
    def test_primaries(self, number, luminance):
        weights = SPACE_OF_PRIMARIES[number].luminance_weights
        np.testing.assert_allclose(weights, luminance, atol=6e-4)

    @pytest.mark.parametrize("curve", NAMED_CURVES)
    @pytest.mark.parametrize("primaries", SPACE_OF_PRIMARIES)
    def test_every_space_has_a_profile_that_other_programs_read(self, primaries, curve):
        space = numbered_space(primaries, curve)
        profile = ImageCms.ImageCmsProfile(io.BytesIO(space.icc))
        assert ImageCms.getProfileDescription(profile).strip() == space.name
        np.testing.assert_allclose(parse_profile(space.icc).to_xyz, space.to_xyz, atol=2e-5)

    def test_high_dynamic_range_is_named_by_numbers_in_the_profile(self):
        icc = numbered_space(9, 18).icc
        place = icc.rindex(b"cicp")
        # primaries, curve, RGB, full range
        assert struct.unpack_from(">4B", icc, place + 8) == (9, 18, 0, 1)
        assert b"cicp" not in REC2020.icc

    def test_unknown_numbers_are_refused(self):
        with pytest.raises(KeyError):
            numbered_space(1, 17)
        with pytest.raises(KeyError):
            rgb_of_ycbcr(14)


class TestMatrices:
    @pytest.mark.parametrize(("number", "red", "blue"), [(1, 0.2126, 0.0722), (9, 0.2627, 0.0593)])
    def test_they_undo_the_definition(self, number, red, blue):
        """Y, Cb and Cr of a colour by the equations of H.273, then back."""
        r, g, b = 0.7, 0.2, 0.4
        y = red * r + (1 - red - blue) * g + blue * b
        ycbcr = [y, (b - y) / (2 * (1 - blue)), (r - y) / (2 * (1 - red))]
        np.testing.assert_allclose(rgb_of_ycbcr(number) @ ycbcr, [r, g, b], atol=1e-12)

    def test_ycgco(self):
        r, g, b = 0.7, 0.2, 0.4
        ycgco = [r / 4 + g / 2 + b / 4, -r / 4 + g / 2 - b / 4, r / 2 - b / 2]
        np.testing.assert_allclose(rgb_of_ycbcr(8) @ ycgco, [r, g, b], atol=1e-12)
