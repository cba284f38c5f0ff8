"""A lens goes both ways, and says the truth about its slopes; turns obey their algebra."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from stacker.register.geometry import grid_of
from stacker.register.sky.lens import Lens, LensPrior
from stacker.register.sky.turns import best_turn, turn_about, vector_of

SIZE = (1500, 1000)
# Newton's method ends where thousands of pixels carry rounding
ROUNDING_PX = 1e-6

lenses = st.builds(
    Lens,
    st.just(SIZE),
    st.floats(600, 9000),
    st.tuples(st.floats(-0.12, 0.12), st.floats(-0.03, 0.03), st.floats(-0.02, 0.02)),
    st.tuples(st.floats(-30, 30), st.floats(-30, 30)),
)
vectors = st.tuples(*[st.floats(-1.5, 1.5)] * 3).map(np.array)


@given(lenses)
def test_pixels_to_directions_and_back(lens):
    place = grid_of(SIZE, 9)
    np.testing.assert_allclose(lens.project(lens.rays(place)), place, rtol=0, atol=ROUNDING_PX)


@given(lenses)
def test_unknowns_describe_the_lens(lens):
    again = Lens(SIZE, 1.0).with_unknowns(lens.unknowns)
    place = grid_of(SIZE, 5)
    np.testing.assert_allclose(again.rays(place), lens.rays(place), rtol=0, atol=1e-12)


@given(lenses)
def test_bending_undoes_small_steps_of_straightening(lens):
    place = grid_of(SIZE, 6)
    step = np.array([0.01, -0.02])
    flat_step = lens.straightened(place + step) - lens.straightened(place)
    back = np.einsum("nij,nj->ni", lens.bending(place), flat_step)
    # slopes are taken over 0.09 px
    np.testing.assert_allclose(back, np.broadcast_to(step, back.shape), rtol=0, atol=1e-4)


def test_a_told_focal_length_may_be_wrong_by_a_little():
    told, untold = LensPrior.told(SIZE, 1000.0), LensPrior.told(SIZE, None)
    other = Lens(SIZE, 1070.0)
    assert abs(told.strayed(other)[0] / told.spread[0]) < 1
    assert untold.spread[0] > 10 * told.spread[0]


@given(vectors)
def test_a_turn_is_its_vector(vector):
    np.testing.assert_allclose(vector_of(turn_about(vector)), vector, rtol=0, atol=1e-9)


@given(vectors, st.integers(0, 1000))
def test_the_best_turn_is_found_back(vector, seed):
    rays = np.random.default_rng(seed).standard_normal((6, 3))
    rays /= np.linalg.norm(rays, axis=1, keepdims=True)
    turn = turn_about(vector)
    np.testing.assert_allclose(best_turn(rays, rays @ turn.T, np.ones(6)), turn, rtol=0, atol=1e-7)
