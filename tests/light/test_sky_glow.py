"""A gradient of light is told from cells of the sky, whatever bright things are among them."""

import numpy as np
import pytest

from stacker.light.sky_glow import FEWEST_CELLS, fit_glow, floor_of, glow_rows

SURFACE = np.array([[0.02, 0.03, 0.05], [0.01, 0, 0], [0.004] * 3, [0.002] * 3, [0] * 3, [0] * 3])


def cells(count=20):
    x, y = (each.ravel() for each in np.meshgrid(*[np.linspace(-1, 1, count)] * 2))
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    return terms @ SURFACE, x, y


def test_the_surface_is_found_back_under_noise_and_a_cloud():
    levels, x, y = cells()
    rng = np.random.default_rng(1)
    levels = levels + rng.normal(0, 1e-4, levels.shape)
    # a cloud over a tenth of the sky, three times as bright
    levels[(x < -0.4) & (y < -0.6)] *= 3
    found = fit_glow(levels, x, y)
    assert found is not None
    # six numbers from some 350 cells: a few of their errors, 1e-4 / sqrt(350) each
    assert np.abs(found - SURFACE).max() < 5e-5


def test_what_is_left_is_flat_and_as_dark_as_the_darkest_twentieth():
    levels, x, y = cells()
    found = fit_glow(levels, x, y)
    floor = floor_of(found, x, y)
    axis = np.linspace(-1, 1, 20)
    left = levels.reshape(20, 20, 3) - glow_rows(found, floor, axis, axis)
    assert np.abs(left - floor).max() < 1e-6
    dark = levels[:, 0] < floor[0]
    assert dark.mean() == pytest.approx(0.05, abs=0.01)


def test_too_few_cells_tell_nothing():
    levels, x, y = cells()
    few = slice(0, FEWEST_CELLS - 1)
    assert fit_glow(levels[few], x[few], y[few]) is None
