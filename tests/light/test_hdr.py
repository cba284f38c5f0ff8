"""HLG and PQ against the values that the standards give."""

import numpy as np
import pytest

from stacker.light.encoding import Encoder, Encoding, decode
from stacker.light.h273 import numbered_space
from stacker.light.hdr import HLG_CURVE, PQ_CURVE, OrdinaryView
from stacker.light.srgb import srgb_to_linear


@pytest.mark.parametrize(
    ("code", "light"),
    # BT.2100-2 table 5 note 5a: both branches meet at half the signal; BT.2408-7 table 1: 75 % is
    # reference white, 38 % an 18 % gray card
    [(0.0, 0.0), (0.25, 1 / 48), (0.5, 1 / 12), (0.75, 0.2650), (0.38, 0.0481), (1.0, 1.0)],
)
def test_known_values_of_hlg(code, light):
    # the constants are rounded to 8 digits in the standard, BT.2408's values to 3 or 4
    assert HLG_CURVE.to_light(code) == pytest.approx(light, abs=1e-4)


@pytest.mark.parametrize(
    ("code", "nits"),
    # BT.2408-7 table 1 and annex: signal in per cent, rounded, of a display's luminance
    [(0.0, 0), (0.508, 100), (0.581, 203), (0.752, 1000), (0.38, 26), (1.0, 10000)],
)
def test_known_values_of_pq(code, nits):
    # a signal given to 3 digits leaves the luminance open to about half of 10 ln(..) of a per cent
    assert PQ_CURVE.to_light(code) * 10000 == pytest.approx(nits, rel=0.02)


def test_pq_by_its_formula():
    """One value worked step by step from table 4 of BT.2100-2."""
    root = 0.6 ** (32 / 2523)
    wanted = ((root - 0.8359375) / (18.8515625 - 18.6875 * root)) ** (8192 / 1305)
    assert PQ_CURVE.to_light(0.6) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize("curve", [HLG_CURVE, PQ_CURVE])
class TestBoth:
    def test_there_and_back(self, curve):
        code = np.linspace(0, 1, 65536)
        light = curve.to_light(code)
        assert np.all(np.diff(light) > 0)
        # HLG's constants are rounded; PQ's code for no light at all is 7e-7
        np.testing.assert_allclose(curve.from_light(light), code, atol=1e-6)

    @pytest.mark.parametrize("stored", ["uint8", "uint16"])
    def test_every_code_comes_back_exactly(self, curve, stored):
        encoding = Encoding(stored, numbered_space(9, 18 if curve is HLG_CURVE else 16))
        codes = np.arange(encoding.top + 1).astype(stored).reshape(1, -1, 1).repeat(3, axis=2)
        back = Encoder(curve).encode(decode(codes, encoding))
        np.testing.assert_array_equal(back, codes.astype(np.uint16) * (65535 // encoding.top))

    def test_light_out_of_range_is_clipped(self, curve):
        found = Encoder(curve).encode(np.array([-1.0, 0.0, 1.0, 2.0, np.nan], np.float32))
        assert found.tolist() == [0, 0, 65535, 65535, 0]


class TestOrdinaryView:
    def test_hlg_codes_are_shown_as_they_are(self):
        ramp = np.linspace(0, 1, 33)
        view = OrdinaryView(HLG_CURVE)
        np.testing.assert_array_equal(view.to_light(ramp), srgb_to_linear(ramp))

    def test_diffuse_white_looks_the_same_in_both(self):
        """203 cd/m2 is 75 % of the HLG signal: BT.2408 gives it for both, to 3 digits."""
        pq = OrdinaryView(PQ_CURVE).to_light(PQ_CURVE.from_light(203 / 10000))
        assert pq == pytest.approx(float(srgb_to_linear(0.75)), rel=0.01)

    def test_it_never_falls(self):
        shown = OrdinaryView(PQ_CURVE).to_light(np.linspace(0, 1, 4096))
        assert np.all(np.diff(shown) >= 0)
        assert (shown[0], shown[-1]) == pytest.approx((0, 1), abs=1e-6)
