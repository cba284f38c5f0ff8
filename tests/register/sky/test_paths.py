"""Motions of pixels are those of the turning camera."""

import numpy as np
import pytest

from stacker.register.geometry import apply, grid_of, is_identity
from stacker.register.sky.lens import Lens
from stacker.register.sky.paths import GRID_ERROR_PX, led_by, motion_of
from stacker.register.sky.turns import turn_about

SIZE = (600, 400)
TURN = turn_about(np.array([0.03, -0.05, 0.2]))


def test_a_pinhole_needs_no_correction():
    lens = Lens(SIZE, 500.0)
    motion, local = motion_of(lens, TURN)
    place = grid_of(SIZE)
    assert local is None
    # products of a few matrices of hundreds
    np.testing.assert_allclose(apply(motion, place), led_by(place, lens, TURN), atol=1e-8)


@pytest.mark.parametrize("k1", [-0.08, 0.02, 0.08])
def test_a_bending_lens_is_corrected_to_the_grids_error(k1):
    lens = Lens(SIZE, 500.0, (k1, 0.01, 0.0))
    motion, local = motion_of(lens, TURN)
    place = grid_of(SIZE, 50)
    true = led_by(place, lens, TURN)
    seen = ((true >= 0) & (true <= np.array(SIZE) - 1)).all(axis=1)
    led = apply(motion, place[seen])
    rough = np.linalg.norm(led - true[seen], axis=1).max()
    led = led + local.at_points(led)
    # both ways of the bilinear error add up, and there are two coordinates
    assert np.linalg.norm(led - true[seen], axis=1).max() < 3 * GRID_ERROR_PX < rough


def test_a_correction_grows_with_the_picture():
    lens = Lens(SIZE, 500.0, (0.05, 0.0, 0.0))
    _, local = motion_of(lens, TURN)
    points = grid_of(SIZE, 7)
    full = local.to_full(3)
    np.testing.assert_allclose(
        full.at_points(3 * points + 1), 3 * local.at_points(points), atol=1e-9
    )


def test_no_turn_is_the_identity():
    motion, local = motion_of(Lens(SIZE, 500.0, (0.05, 0.0, 0.0)), np.eye(3))
    assert is_identity(motion)
    assert local is None
