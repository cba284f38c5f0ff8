"""Motion models are linear spaces of the parameters of small homographies."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.register.geometry import apply, grid_of, identity, rms_difference, translation
from stacker.register.scene.models import HOMOGRAPHY, MODELS, SHIFT, SIMILARITY, Frame

SIZE = (640, 420)
GEOMETRY = Frame(SIZE)
small = st.lists(st.floats(-0.02, 0.02), min_size=8, max_size=8).map(np.array)


@given(small)
def test_parameters_and_motions_are_one(parameters):
    back = GEOMETRY.parameters_of(GEOMETRY.motion_of(parameters))
    np.testing.assert_allclose(back, parameters, rtol=0, atol=1e-12)


@given(small)
def test_the_jacobian_is_the_slope_of_the_motion(parameters):
    step = 1e-4 * parameters
    points = grid_of(SIZE, 5)
    moved = apply(GEOMETRY.motion_of(step), points) - points
    np.testing.assert_allclose(GEOMETRY.jacobian(points) @ step, moved, rtol=0, atol=1e-6)
    apart = rms_difference(GEOMETRY.motion_of(step), identity(), grid_of(SIZE))
    assert GEOMETRY.rms(step) == pytest.approx(apart, rel=1e-3, abs=1e-9)


def test_models_hold_what_they_are_named_after():
    a = np.deg2rad(3)
    turn = np.array([[1.1 * np.cos(a), -1.1 * np.sin(a), 5], [1.1 * np.sin(a), 1.1 * np.cos(a), 2],
                     [0, 0, 1]])  # fmt: skip
    some = np.eye(8)
    for motion, models in ((translation(3, -4), MODELS), (turn, (SIMILARITY, HOMOGRAPHY))):
        parameters = GEOMETRY.parameters_of(motion)
        for model in models:
            held = model.nearest(parameters, 1e9 * some)
            np.testing.assert_allclose(held, parameters, rtol=0, atol=1e-6)
    assert not np.allclose(SHIFT.nearest(GEOMETRY.parameters_of(turn), some), 0.0, atol=1e-3)
    assert [model.freedoms for model in MODELS] == [2, 4, 8]


def test_the_error_that_an_information_implies():
    information = np.linalg.inv(GEOMETRY.covariance_of(0.05))
    assert GEOMETRY.rms_error(information) == pytest.approx(0.05, rel=1e-3)
