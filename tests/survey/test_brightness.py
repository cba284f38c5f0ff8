"""Light that changes by known amounts, and frames that are odd."""

import numpy as np
import pytest

from stacker.light.encoding import Encoding
from stacker.light.space import SRGB
from stacker.survey.brightness import measure_brightness

SHAPE = (120, 180)


def measured(factors, seed=1):
    rng = np.random.default_rng(seed)
    base = np.kron(rng.uniform(0.03, 0.3, (12, 18)), np.ones((10, 10)))
    frames = []
    for factor in factors:
        noisy = base * factor * (1 + 0.01 * rng.normal(size=SHAPE))
        frames.append(np.repeat(np.clip(noisy, 0, 1)[:, :, None], 3, axis=2).astype(np.float32))
    times = [2.0 * number for number in range(len(frames))]
    return measure_brightness(frames.__getitem__, times, Encoding("float32", SRGB))


def test_steady_light_is_steady():
    light = measured([1.0] * 12)
    assert np.abs(light.stops).max() < 0.01
    assert (light.black, light.flashed, light.jumps, light.seen) == ((), (), (), False)


def test_a_flash_and_a_black_frame_are_found():
    factors = [1.0] * 14
    factors[4], factors[9] = 2.5, 0.001
    light = measured(factors)
    assert light.flashed == (4,)
    assert light.black == (9,)
    assert light.stops[4] == pytest.approx(np.log2(2.5), abs=0.1)
    assert light.jumps == ()


def test_a_flash_in_the_last_frame_is_found():
    assert measured([1.0] * 9 + [2.5]).flashed == (9,)


def test_an_exposure_that_jumps_is_found_where_it_does():
    light = measured([1.0] * 8 + [1.5] * 8)
    ((index, stops),) = light.jumps
    assert index == 8
    assert stops == pytest.approx(np.log2(1.5), abs=0.03)
    # a jump is no flicker and no drift
    assert not light.seen
    assert abs(light.drift_stops) < 0.05
    assert light.flashed == ()


def test_a_slow_rise_is_drift():
    light = measured(2 ** np.linspace(0, 1, 20))
    assert light.drift_stops == pytest.approx(1.0, abs=0.05)
    assert light.jumps == ()


def test_flicker_is_told_by_its_size():
    rng = np.random.default_rng(5)
    light = measured(np.exp(0.03 * rng.normal(size=24)))
    assert light.seen
    assert light.flicker == pytest.approx(0.03, rel=0.35)
