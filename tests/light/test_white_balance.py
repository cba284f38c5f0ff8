"""White balance: colours of daylight, greys that keep their luminance, white that stays white."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.light.space import ADOBE_RGB, DISPLAY_P3, SRGB
from stacker.light.white_balance import (
    FADE_START,
    WhiteBalance,
    apply_balance,
    balance_of_warmth,
    daylight_xy,
)

SPACES = [SRGB, ADOBE_RGB, DISPLAY_P3]
gains = st.tuples(*[st.floats(0.25, 4.0)] * 3)


@pytest.mark.parametrize(
    ("kelvin", "xy"),
    # CIE 15:2018, table of the D illuminants: D55, D65, D75 by their true temperatures
    [(5503, (0.33243, 0.34744)), (6504, (0.31272, 0.32903)), (7504, (0.29903, 0.31488))],
)
def test_daylight_of_the_standard(kelvin, xy):
    # the table comes from spectra, the formula from a fit to them
    assert daylight_xy(kelvin) == pytest.approx(xy, abs=2e-4)


@pytest.mark.parametrize("space", SPACES, ids=lambda space: space.name)
def test_warmer_is_redder_and_less_blue_step_by_step(space):
    steps = [balance_of_warmth(w, space).scaled_gains(space) for w in range(-100, 101, 10)]
    red, _, blue = np.array(steps).T
    assert np.all(np.diff(red) > 0)
    assert np.all(np.diff(blue) < 0)
    assert steps[10] == (1.0, 1.0, 1.0)


def test_a_warmth_means_the_same_colour_in_every_space():
    """The grey that comes out has one XYZ, whatever primaries it was worked out in."""
    whites = [
        np.array(space.to_xyz) @ balance_of_warmth(40, space).scaled_gains(space)
        for space in SPACES
    ]
    # profiles hold whole multiples of 2^-16
    np.testing.assert_allclose(whites[1], whites[0], atol=1e-4)
    np.testing.assert_allclose(whites[2], whites[0], atol=1e-4)


@given(gains=gains, grey=st.floats(1e-3, FADE_START))
def test_a_grey_keeps_its_luminance(gains, grey):
    light = np.full((1, 1, 3), grey, np.float32)
    balanced = apply_balance(WhiteBalance(gains), light, SRGB)[0, 0]
    # float32 rounds each product
    assert balanced @ np.array(SRGB.luminance_weights) == pytest.approx(grey, rel=1e-5)


@given(gains=gains)
def test_burnt_out_stays_white_and_greys_stay_in_order(gains):
    ramp = np.repeat(np.linspace(0, 1.2, 601, dtype=np.float32)[None, :, None], 3, axis=2)
    balance = WhiteBalance(gains)
    out = apply_balance(balance, ramp, SRGB)[0]
    white = out[500:]
    np.testing.assert_allclose(white, np.repeat(white[:, :1], 3, axis=1), rtol=1e-6)
    assert white.min() >= 1 - 1e-6
    assert white[0, 0] == pytest.approx(balance.greatest_gain(SRGB), rel=1e-6)
    # a step of rounding where gains are drawn together
    assert np.all(np.diff(out, axis=0) >= -1e-6)


def test_below_the_fade_it_is_a_plain_product():
    light = np.random.default_rng(3).random((70, 50, 3), np.float32)
    before = light.copy()
    balance = WhiteBalance((1.3, 1.0, 0.6))
    out = apply_balance(balance, light, SRGB)
    plain = light.min(axis=2) < FADE_START
    wanted = light[plain] * np.array(balance.scaled_gains(SRGB), np.float32)
    np.testing.assert_allclose(out[plain], wanted, rtol=1e-6)
    np.testing.assert_array_equal(light, before)


def test_the_white_of_a_sum_is_that_of_its_frames():
    light = np.full((2, 2, 3), 8.0, np.float32)
    tinted = apply_balance(WhiteBalance((2, 1, 1)), light, SRGB, white=24.0)
    assert tinted[0, 0, 0] == pytest.approx(2 * tinted[0, 0, 1])
    burnt = apply_balance(WhiteBalance((2, 1, 1)), 3 * light, SRGB, white=24.0)
    assert np.ptp(burnt[0, 0]) == 0


@pytest.mark.parametrize("wrong", [(0, 1, 1), (1, float("nan"), 1), (1, 1, float("inf")), (1, 1)])
def test_gains_that_are_none(wrong):
    with pytest.raises(ValueError, match="positive"):
        WhiteBalance(wrong)
