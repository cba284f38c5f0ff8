"""Motions compose, invert and change scale as coordinates do."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.light.curves import LINEAR
from stacker.light.encoding import Encoding
from stacker.light.reduce import reduce_light
from stacker.light.space import SRGB
from stacker.register.geometry import (
    apply,
    compose,
    grid_of,
    identity,
    invert,
    is_identity,
    normalise,
    rms_difference,
    to_full,
    to_reduced,
    translation,
    whole_shift,
)

SIZE = (1500, 1000)
# coordinates of some thousand pixels carry about 1e-12 of rounding, a few products of them more
ROUNDING_PX = 1e-8


@st.composite
def motions(draw):
    """Draw what a hand may do: a turn, a change of scale, shear, perspective and a shift."""
    small = st.floats(-0.03, 0.03)
    a, b, c, d = (draw(small) for _ in range(4))
    x, y = (draw(st.floats(-200, 200)) for _ in range(2))
    g, h = (draw(st.floats(-2e-5, 2e-5)) for _ in range(2))
    return np.array([[1 + a, b, x], [c, 1 + d, y], [g, h, 1.0]])


@given(motions(), motions())
def test_composing_is_doing_one_after_the_other(outer, inner):
    points = grid_of(SIZE)
    one_by_one = apply(outer, apply(inner, points))
    np.testing.assert_allclose(
        apply(compose(outer, inner), points), one_by_one, rtol=0, atol=ROUNDING_PX
    )


@given(motions())
def test_inverting_undoes(motion):
    points = grid_of(SIZE)
    back = apply(invert(motion), apply(motion, points))
    np.testing.assert_allclose(back, points, rtol=0, atol=ROUNDING_PX)
    assert rms_difference(compose(motion, invert(motion)), identity(), points) < ROUNDING_PX


@given(motions(), st.integers(1, 8))
def test_scale_follows_the_centres_of_reduced_pixels(motion, factor):
    """A reduced pixel's centre goes where the motion takes that place of the full picture."""
    small = grid_of((SIZE[0] // factor, SIZE[1] // factor))
    full = factor * small + (factor - 1) / 2
    reduced = to_reduced(motion, factor)
    np.testing.assert_allclose(
        factor * apply(reduced, small) + (factor - 1) / 2,
        apply(motion, full),
        rtol=0,
        atol=ROUNDING_PX,
    )
    np.testing.assert_allclose(to_full(reduced, factor), normalise(motion), rtol=0, atol=1e-9)


def test_scale_agrees_with_the_reduced_copies_themselves():
    """The centre of mass of a dot moves as the conversion says."""
    picture = np.zeros((64, 64, 3), np.float32)
    picture[18:26, 31:39] = 1.0  # centred at (34.5, 21.5); a box of two cells weighs evenly
    small = reduce_light(picture, Encoding("float32", SRGB, LINEAR), 4)[..., 0]
    y, x = np.mgrid[: small.shape[0], : small.shape[1]]
    centre = np.array([(small * x).sum(), (small * y).sum()]) / small.sum()
    np.testing.assert_allclose(4 * centre + 1.5, [34.5, 21.5], atol=1e-4)


def test_difference_of_a_shift_is_its_length():
    apart = rms_difference(translation(3, 4), identity(), grid_of(SIZE))
    assert apart == pytest.approx(5)


def test_whole_shifts_are_told_from_others():
    assert whole_shift(translation(3, -2)) == (3, -2)
    assert whole_shift(identity()) == (0, 0)
    assert whole_shift(translation(3, 0.5)) is None
    assert whole_shift(np.diag([1.0 + 1e-12, 1, 1])) is None
    assert is_identity(identity())
    assert not is_identity(translation(0, 1e-12))


@pytest.mark.parametrize(
    "matrix", [np.zeros((3, 3)), np.full((3, 3), np.nan), np.eye(2)], ids=["zero", "nan", "2 x 2"]
)
def test_what_is_no_motion_is_refused(matrix):
    with pytest.raises(ValueError, match="no motion"):
        normalise(matrix)


def test_what_flattens_cannot_be_undone():
    with pytest.raises(ValueError, match="cannot be undone"):
        invert(np.array([[1.0, 1, 0], [1, 1, 0], [0, 0, 1]]))
