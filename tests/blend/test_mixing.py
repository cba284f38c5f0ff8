"""Mixing by masks: exact where a mask is black or white, between both elsewhere."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.blend.mixing import WHOLE, as_mask, feathered, is_hard, mix_over, shares

SHAPE = (6, 7)


def lights(seed):
    rng = np.random.default_rng(seed)
    return [rng.gamma(0.4, 0.5, (*SHAPE, 3)).astype(np.float32) for _ in range(2)]


@settings(max_examples=50, deadline=None)
@given(st.integers(0, 2**32), st.integers(0, WHOLE))
def test_a_mixed_pixel_lies_between_both(seed, code):
    """So a seam is never darker or brighter than what it parts."""
    under, over = lights(seed)
    mixed = under.copy()
    mix_over(mixed, over, shares(np.full(SHAPE, code, np.uint16)))
    # one rounding of float32
    slack = 2e-7 * np.maximum(under, over)
    assert (mixed >= np.minimum(under, over) - slack).all()
    assert (mixed <= np.maximum(under, over) + slack).all()


def test_black_and_white_are_one_picture_to_the_bit():
    under, over = lights(1)
    mask = np.zeros(SHAPE, np.uint16)
    mask[:, 3:] = WHOLE
    mixed = under.copy()
    mix_over(mixed, over, shares(mask))
    np.testing.assert_array_equal(mixed[:, :3], under[:, :3])
    np.testing.assert_array_equal(mixed[:, 3:], over[:, 3:])


def test_half_gray_is_the_mean_of_light():
    under, over = lights(2)
    mixed = under.copy()
    mix_over(mixed, over, np.full(SHAPE, 0.5, np.float32))
    np.testing.assert_allclose(mixed, (under + over) / 2, rtol=1e-6)


def test_a_feather_leaves_the_edge_where_it_is():
    mask = np.zeros((20, 40), np.uint16)
    mask[:, 20:] = WHOLE
    soft = feathered(mask, 4.0)
    row = shares(soft)[10]
    assert (np.diff(row) >= 0).all()
    # the edge lies between the pixels 19 and 20; codes are whole numbers
    assert abs(row[19] + row[20] - 1) < 2 / WHOLE
    # the middle half of the ramp takes about the width asked for: 1.35 sigma of half of it
    inner = np.interp([0.25, 0.75], row, np.arange(40))
    assert 2.4 < inner[1] - inner[0] < 4.0
    # far from the edge nothing changes
    assert row[0] == 0
    assert row[-1] == 1
    assert is_hard(mask)
    assert not is_hard(soft)
    assert feathered(mask, 0) is mask


def test_shares_come_back():
    for code in (0, 1, 32768, WHOLE - 1, WHOLE):
        assert as_mask(shares(np.array([code], np.uint16)))[0] == code
