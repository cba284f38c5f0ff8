"""Codes are rounded rightly, and 8-bit codes keep the mean of what they stand for."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.finish.codes import dither_tile, to_codes8, to_codes16
from stacker.light.encoding import CodedLight, Uint16Array
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, SRGB, ColourSpace

from .pictures import coded


@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3, ADOBE_RGB], ids=lambda s: s.name)
@pytest.mark.parametrize("top", [255, 65535])
def test_each_code_comes_back(space: ColourSpace, top: int) -> None:
    codes = np.arange(top + 1, dtype=np.uint8 if top == 255 else np.uint16)
    picture = CodedLight(
        np.repeat(codes, 3).reshape(-1, 16, 3), space.curve.to_light(np.arange(top + 1) / top)
    )
    expected = picture.codes.astype(np.uint16) * np.uint16(65535 // top)
    np.testing.assert_array_equal(to_codes16(picture, space), expected)


def test_light_beyond_the_ends_is_clipped() -> None:
    table = np.linspace(-1, 3, 256)
    table[7] = np.nan
    picture = CodedLight(np.arange(256, dtype=np.uint8).repeat(3).reshape(16, 16, 3), table)
    codes = to_codes16(picture, SRGB).reshape(-1, 3)
    assert codes[0].tolist() == codes[7].tolist() == [0, 0, 0]
    assert codes[255].tolist() == [65535] * 3


def test_exact_codes_are_not_dithered() -> None:
    codes8 = np.arange(256, dtype=np.uint16)
    whole = np.tile(codes8 * 257, (300, 2))[..., None].repeat(3, axis=2)
    expected = np.tile(codes8, (300, 2))[..., None].repeat(3, axis=2)
    np.testing.assert_array_equal(to_codes8(whole, 11), expected)


def test_every_code_becomes_a_neighbour() -> None:
    codes = np.arange(65536, dtype=np.uint16).repeat(3).reshape(256, 256, 3)
    tile = dither_tile()[..., None]
    dithered = to_codes8(codes, 0)
    np.testing.assert_array_equal(dithered[..., :1], (codes[..., :1].astype(int) + tile) // 257)
    down = codes // 257
    assert np.all((dithered == down) | ((dithered == down + 1) & (codes % 257 > 0)))


@settings(deadline=None)
@given(st.integers(0, 65535))
def test_mean_over_a_tile_is_kept(code: int) -> None:
    # over a whole tile each of 257 levels comes 255 or 256 times: off by 1 / 257 of them at most
    flat = np.full((256, 256, 3), code, np.uint16)
    dithered = to_codes8(flat, 0).astype(np.float64)
    np.testing.assert_allclose(dithered.mean((0, 1)), code / 257, atol=2.0 / 257 / 255)
    assert np.ptp(dithered) <= 1


def test_slow_gradient_has_no_bands() -> None:
    """The local mean of 8-bit codes follows the 16-bit ones where plain rounding makes steps."""
    across = np.linspace(20000, 20000 + 3 * 257, 1024)
    codes = np.rint(np.broadcast_to(across[None, :, None], (256, 1024, 3))).astype(np.uint16)
    dithered = to_codes8(codes, 0).astype(np.float64)
    strips = dithered.reshape(256, 64, 16, 3).mean((0, 2))
    wanted = (codes.astype(np.float64) / 257).reshape(256, 64, 16, 3).mean((0, 2))
    # a strip has 4096 dithered values of deviation 1/2 at most: five deviations of their mean
    assert np.abs(strips - wanted).max() < 5 * 0.5 / 64
    rounded = np.rint(codes / 257).reshape(256, 64, 16, 3).mean((0, 2))
    assert np.abs(rounded - wanted).max() > 0.4


def test_channels_are_dithered_apart() -> None:
    dithered = to_codes8(np.full((256, 256, 3), 128, np.uint16), 0).astype(np.float64)
    between = np.asarray(np.corrcoef(dithered.reshape(-1, 3).T))[np.triu_indices(3, 1)]
    # 65536 independent values correlate by 1 / 256 on the average
    assert np.abs(between).max() < 5 / 256


def test_tile_holds_every_level_alike() -> None:
    counts = np.bincount(dither_tile().ravel(), minlength=257)
    assert counts.size == 257
    assert set(counts.tolist()) <= {255, 256}


@settings(deadline=None)
@given(st.lists(st.integers(1, 300), max_size=4), st.integers(1, 40))
def test_bands_agree_with_the_whole(heights: list[int], width: int) -> None:
    codes: Uint16Array = coded(65535, height=600, width=width).codes
    tops = [0, *np.cumsum(heights).tolist(), 600]
    parts = [to_codes8(codes[a:b], a) for a, b in pairwise(tops) if a < b <= 600]
    joined = np.concatenate(parts)
    np.testing.assert_array_equal(joined, to_codes8(codes, 0)[: len(joined)])
