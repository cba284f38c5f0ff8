"""Stillness is a matter of likelihood over the whole burst."""

import numpy as np
import pytest

from stacker.register.scene.models import HOMOGRAPHY, SHIFT, SIMILARITY, Frame
from stacker.register.scene.stretches import (
    Measured,
    cut_into_stretches,
    is_nothing,
    mean_of,
    simplest_model,
)

GEOMETRY = Frame((1500, 1000))


def measured(true: np.ndarray, error_px: float, seed: int = 0) -> Measured:
    """Return estimates of true parameters (N, 8) with noise of that size."""
    covariance = GEOMETRY.covariance_of(error_px)
    rng = np.random.default_rng(seed)
    noise = rng.multivariate_normal(np.zeros(8), covariance, len(true))
    return Measured(true + noise, np.tile(np.linalg.inv(covariance), (len(true), 1, 1)), 1000)


def shifts(*pixels: float) -> np.ndarray:
    """Return the parameters of shifts to the right."""
    jacobian = GEOMETRY.jacobian(np.array([[749.5, 499.5]]))[0, 0, 2]
    true = np.zeros((len(pixels), 8))
    true[:, 2] = np.array(pixels) / jacobian
    return true


@pytest.mark.parametrize("error_px", [0.002, 0.05, 0.3])
def test_a_still_burst_is_one_stretch(error_px):
    burst = measured(np.zeros((12, 8)), error_px)
    stretches, cost = cut_into_stretches(burst, GEOMETRY)
    assert stretches == [slice(0, 12)]
    assert cost < simplest_model(burst, GEOMETRY)[1]
    assert is_nothing(mean_of(burst, slice(0, 12), GEOMETRY), burst, (slice(0, 12),), GEOMETRY)


@pytest.mark.parametrize("error_px", [0.002, 0.05])
def test_a_touched_tripod_is_cut_where_it_was_touched(error_px):
    burst = measured(shifts(*[0.0] * 5, *[0.8] * 6), error_px)
    stretches, cost = cut_into_stretches(burst, GEOMETRY)
    assert stretches == [slice(0, 5), slice(5, 11)]
    assert cost < simplest_model(burst, GEOMETRY)[1]
    shared = mean_of(burst, stretches[1], GEOMETRY)
    assert GEOMETRY.rms(shared) == pytest.approx(0.8, abs=error_px)
    assert not is_nothing(shared, burst, (stretches[1],), GEOMETRY)


def test_a_hand_makes_no_stretches():
    burst = measured(shifts(0, 3, 8, -2, 5, 9, 1, -4), 0.05)
    stretches, _ = cut_into_stretches(burst, GEOMETRY)
    assert len(stretches) > 4


@pytest.mark.parametrize("model", [SHIFT, SIMILARITY, HOMOGRAPHY], ids=lambda model: model.name)
def test_the_simplest_model_that_explains_is_chosen(model):
    rng = np.random.default_rng(5)
    scale = np.sqrt(np.diag(GEOMETRY.covariance_of(20.0)))
    true = np.array([model.basis @ (model.basis.T @ (scale * rng.standard_normal(8)))
                     for _ in range(10)])  # fmt: skip
    assert simplest_model(measured(true, 0.02), GEOMETRY)[0] is model
