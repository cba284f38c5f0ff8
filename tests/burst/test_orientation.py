"""All eight ways in which a picture can lie in its file."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.burst.orientation import turn_upright, turned_size

# upright:  1 2 3
#           4 5 6
UPRIGHT = np.array([[1, 2, 3], [4, 5, 6]], np.uint8)
# as stored, by the places of row 0 and column 0 that the Exif standard names
STORED = {
    1: [[1, 2, 3], [4, 5, 6]],  # top, left
    2: [[3, 2, 1], [6, 5, 4]],  # top, right
    3: [[6, 5, 4], [3, 2, 1]],  # bottom, right
    4: [[4, 5, 6], [1, 2, 3]],  # bottom, left
    5: [[1, 4], [2, 5], [3, 6]],  # left, top
    6: [[3, 6], [2, 5], [1, 4]],  # right, top
    7: [[6, 3], [5, 2], [4, 1]],  # right, bottom
    8: [[4, 1], [5, 2], [6, 3]],  # left, bottom
}


def _rgb(gray: object) -> np.typing.NDArray[np.uint8]:
    return np.repeat(np.array(gray, np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
def test_each_orientation_comes_out_upright(orientation: int, dtype: str) -> None:
    stored = _rgb(STORED[orientation]).astype(dtype)
    before = stored.copy()
    turned = turn_upright(stored, orientation)
    np.testing.assert_array_equal(turned, _rgb(UPRIGHT))
    np.testing.assert_array_equal(stored, before)
    assert turned.dtype == dtype and turned.flags.c_contiguous
    assert turned_size((stored.shape[1], stored.shape[0]), orientation) == (3, 2)


@pytest.mark.parametrize("orientation", range(2, 9))
def test_a_given_array_is_filled(orientation: int) -> None:
    out = np.zeros((2, 3, 3), np.uint8)
    assert turn_upright(_rgb(STORED[orientation]), orientation, out=out) is out
    np.testing.assert_array_equal(out, _rgb(UPRIGHT))


@given(st.integers(1, 8), st.integers(1, 9), st.integers(1, 9))
def test_turning_moves_pixels_and_changes_none(orientation: int, width: int, height: int) -> None:
    pixels = np.arange(width * height * 3, dtype=np.uint16).reshape(height, width, 3)
    turned = turn_upright(pixels, orientation)
    assert (turned.shape[1], turned.shape[0]) == turned_size((width, height), orientation)
    assert sorted(turned.ravel()) == sorted(pixels.ravel())


def test_an_upright_picture_is_not_copied() -> None:
    pixels = _rgb(UPRIGHT)
    assert turn_upright(pixels, 1) is pixels
