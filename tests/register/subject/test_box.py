"""The box: where it lies on a reduced copy, and what is said of bad ones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.errors import OptionError
from stacker.register.subject.box import (
    BORDER,
    Box,
    outline_of,
    reduced_box,
    subject_factor,
)

SIZE = (768, 432)


def test_a_box_is_reduced_by_cells():
    assert reduced_box((20, 40, 200, 100), SIZE, 1) == Box(20, 40, 200, 100)
    assert reduced_box((20, 40, 200, 100), SIZE, 4) == Box(5, 10, 50, 25)
    # the whole picture, though the copy has no part of a cell at its edges
    assert reduced_box((0, 0, *SIZE), SIZE, 5) == Box(0, 0, 153, 86)


@pytest.mark.parametrize(
    ("box", "code"),
    [
        ((-1, 0, 50, 50), "box-outside"),
        ((0, 400, 50, 50), "box-outside"),
        ((5000, 10, 50, 50), "box-outside"),
        ((10, 10, 0, 50), "box-empty"),
        ((10, 10, 50, -5), "box-empty"),
        ((float("nan"), 10, 50, 50), "box-empty"),
        ((10, 10, 9, 50), "box-small"),
    ],
)
def test_bad_boxes_are_one_sentence(box, code):
    with pytest.raises(OptionError, match="--box") as caught:
        reduced_box(box, SIZE, 1)
    assert caught.value.code == code
    if code != "box-small":
        assert "768 x 432 pixels" in str(caught.value)


@given(
    st.integers(0, 300), st.integers(0, 300), st.integers(12, 400), st.integers(12, 400)
)  # fmt: skip
def test_whole_tiles_fill_the_outline(left, top, width, height):
    outline = outline_of(Box(left, top, width, height))
    around = outline.around
    assert (around.width - 2 * BORDER) % outline.side == 0
    assert (around.height - 2 * BORDER) % outline.side == 0
    # the box lies within what tiles cover
    assert around.left + BORDER <= left
    assert around.top + BORDER <= top
    assert around.left + around.width - BORDER >= left + width
    assert around.top + around.height - BORDER >= top + height
    assert outline.middle == pytest.approx(
        (left + (width - 1) / 2 - around.left, top + (height - 1) / 2 - around.top)
    )


def test_a_small_subject_needs_a_finer_copy():
    assert subject_factor((6000, 4000), (0, 0, 3000, 2000)) == 4
    assert subject_factor((6000, 4000), (0, 0, 300, 150)) == 2
    assert subject_factor((6000, 4000), (0, 0, 60, 40)) == 1
    assert subject_factor((1500, 1000), (0, 0, 900, 900)) == 1
