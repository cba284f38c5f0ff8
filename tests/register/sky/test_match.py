"""Stars are known again however far the sky has turned, and chance is not taken for stars."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.register.sky.lens import Lens
from stacker.register.sky.match import is_believable, match
from stacker.register.sky.nearness import pairs_within, standing_still
from stacker.register.sky.stars import StarList
from stacker.register.sky.triangles import alike_triangles
from stacker.register.sky.turns import turn_about

SIZE = (1500, 1000)
LENS = Lens(SIZE, 1400.0)


def listed(place: np.ndarray) -> StarList:
    """Return points as a list of stars of one kind."""
    one = np.ones(len(place))
    return StarList(place, 0.05 * one, one, one, one, (1.0, 1.0), 0.01, 0.001)


def seen(
    rays: np.ndarray, turn: np.ndarray, rng: np.random.Generator
) -> tuple[StarList, np.ndarray]:
    """Return what a frame shows of stars, each off by a twentieth of a pixel, and their numbers."""
    place = LENS.project(rays @ turn.T)
    inside = ((place >= 0) & (place <= np.array(SIZE) - 1)).all(axis=1)
    return listed(place[inside] + rng.normal(0, 0.05, (inside.sum(), 2))), np.flatnonzero(inside)


@settings(max_examples=15, deadline=None)
@given(
    st.tuples(st.floats(-0.08, 0.08), st.floats(-0.08, 0.08), st.floats(-1.5, 1.5)),
    st.integers(0, 10_000),
    st.sampled_from([10, 40, 200]),
)
def test_stars_are_known_again_after_any_turn(vector, seed, count):
    rng = np.random.default_rng(seed)
    wide = LENS.rays(rng.uniform([-300, -300], [1800, 1300], (count * 2, 2)))
    one, first = seen(wide, np.eye(3), rng)
    two, second = seen(wide, turn_about(np.array(vector)), rng)
    common = len(np.intersect1d(first, second))
    found = match(one, two, [LENS], [np.eye(3)])
    if found is None:
        # ten stars or fewer in common may make no triangle of neighbours in both frames
        assert common < 12
        return
    same = first[found[0].one] == second[found[0].two]
    assert same.mean() > 0.9


@pytest.mark.parametrize("count", [8, 30, 300])
def test_unrelated_points_are_not_taken_for_stars(count):
    rng = np.random.default_rng(count)
    lenses = [Lens(SIZE, focal) for focal in (700.0, 1400.0, 4000.0)]
    for _ in range(10):
        one, two = (listed(rng.uniform([0, 0], SIZE, (count, 2))) for _ in range(2))
        assert match(one, two, lenses, [np.eye(3)]) is None


def test_more_trials_ask_for_more_stars():
    sure = [is_believable(6, 20, 20, LENS, trials=trials, used=3) for trials in (1, 10**12)]
    assert sure == [True, False]
    assert not is_believable(4, 5, 5, LENS, trials=1)


def test_triangles_keep_their_corners_when_turned():
    points = np.array([[100.0, 100], [180, 110], [130, 190]])
    turn = np.array([[0.0, -1], [1, 0]])
    one, two = alike_triangles(points, points @ turn.T + 400)
    np.testing.assert_array_equal(one[0], two[0])


def test_a_mirrored_triangle_is_another():
    points = np.array([[100.0, 100], [180, 110], [130, 190]])
    one, _ = alike_triangles(points, points * [-1, 1] + [500, 0])
    assert len(one) == 0


def test_hot_pixels_stand_still_and_stars_do_not():
    rng = np.random.default_rng(2)
    hot, stars = rng.uniform(0, 1000, (20, 2)), rng.uniform(0, 1000, (30, 2))
    places = [
        # faint hot pixels scatter, and one in five is missed
        np.concatenate(
            [
                (hot + rng.normal(0, 0.08, hot.shape))[rng.uniform(size=20) > 0.2],
                stars + np.array([n, 0]),
            ]
        )
        for n in range(9)
    ]
    for points, still in zip(places, standing_still(places), strict=True):
        # one that is missed in two early frames of three is not known
        assert still[: len(points) - 30].mean() > 0.9
        assert not still[-30:].any()


def test_pairs_are_each_others_nearest():
    one, two = np.array([[0.0, 0], [1, 0], [50, 50]]), np.array([[0.8, 0.0]])
    first, second = pairs_within(one, two, 2.0)
    assert (first.tolist(), second.tolist()) == ([1], [0])
    assert len(pairs_within(one, np.zeros((0, 2)), 2.0)[0]) == 0
