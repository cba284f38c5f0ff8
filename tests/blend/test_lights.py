"""Lights over the mean: known answers of the hand-over, and what a lamp and a car leave."""

import numpy as np
import pytest

from stacker.blend import Intake
from stacker.blend.lights import Lights, share_of_light
from stacker.light.encoding import Encoding
from stacker.light.space import SRGB


def pixel(*light: float) -> np.ndarray:
    return np.array([[light]], np.float32)


@pytest.mark.parametrize(("times", "share"), [(1, 0), (2, 0), (4, 0.5), (8, 1), (30, 1)])
def test_the_hand_over_goes_by_stops_above_the_mean(times, share):
    mean = pixel(0.02, 0.03, 0.01)
    assert share_of_light(mean, mean * np.float32(times))[0, 0] == pytest.approx(share, abs=1e-5)


def test_a_red_lamp_is_no_less_a_lamp():
    assert share_of_light(pixel(0.03, 0.03, 0.03), pixel(0.5, 0.02, 0.02))[0, 0] == 1


def test_no_light_is_no_lamp():
    assert share_of_light(pixel(0, 0, 0), pixel(0, 0, 0))[0, 0] == 0
    assert share_of_light(pixel(-0.1, 0, 0), pixel(-0.05, 0, 0))[0, 0] == 0


def test_a_lamp_keeps_its_light_and_a_pale_car_fades():
    """One frame of ten each; noise of a sensor, or there would be nothing to stand clear of."""
    rng = np.random.default_rng(1)
    road, car, lamp = 0.04, 0.12, 0.9
    frames = rng.normal(road, 0.002, (10, 48, 64, 3)).astype(np.float32)
    frames[3, 10:20, 10:20] += car - road
    frames[6, 30:36, 30:50] += lamp - road
    intake = Intake(Encoding("float32", SRGB), (1.0,) * 10)
    accumulator = Lights().start(intake, 48, 64)
    for index, frame in enumerate(frames):
        accumulator.add(frame, index=index)
    light = accumulator.result()
    mean = frames.mean(axis=0)
    # the lamp lies 2.8 stops above its mean of 0.126: 0.97 of it is kept
    assert light[32:34, 34:46].mean() == pytest.approx(lamp, rel=0.05)
    # the car lies 1.3 stops above its mean of 0.048: 6 % of it
    assert abs(light[12:18, 12:18] - mean[12:18, 12:18]).mean() < 0.1 * (car - road)
    # noise nowhere
    np.testing.assert_allclose(light[:8], mean[:8], atol=1e-6)
