"""What is flicker and what is slow; and the correction that takes it out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.light.flicker import FrameGains, PartGains, judge_evenness, slow_part


def burst(course, error=1e-4):
    """Return changes, halves and times of a course common to the channels."""
    rng = np.random.default_rng(8)
    changes = np.repeat(np.asarray(course, float)[:, None], 3, axis=1)
    halves = changes[:, None, :] + error * rng.standard_normal((len(changes), 2, 1))
    return changes, halves, np.arange(len(changes)) * 2.0


def test_twilight_stays_and_flicker_goes():
    rng = np.random.default_rng(2)
    count = 120
    # a stop in four minutes, two seconds a frame
    ramp = -np.log(2) * np.arange(count) * 2 / 240
    flicker = 0.03 * rng.standard_normal(count)
    evened = judge_evenness(*burst(ramp + flicker), keep_slow=True)
    left = ramp + flicker + np.log(evened.gains[:, 0]) - ramp
    assert evened.needed
    assert not evened.coloured
    # a line through 48 frames of 3 % is known to 3 % x 2 / sqrt(48) at its ends
    assert np.abs(left - left.mean()).max() < 0.02
    assert evened.unevenness == pytest.approx(0.03, rel=0.15)


def test_level_takes_out_both():
    ramp = np.linspace(-0.5, 0.5, 40)
    evened = judge_evenness(*burst(ramp), keep_slow=False)
    left = ramp + np.log(evened.gains[:, 1])
    assert np.ptp(left) < 1e-9


def test_a_pure_ramp_is_no_flicker():
    evened = judge_evenness(*burst(np.linspace(-0.5, 0.5, 40)), keep_slow=True)
    assert not evened.needed
    assert np.all(evened.gains == 1)


@pytest.mark.parametrize(("size", "error"), [(0.001, 1e-5), (0.01, 0.02)])
def test_what_is_not_seen_or_not_certain_is_left_alone(size, error):
    course = size * np.random.default_rng(1).standard_normal(30)
    evened = judge_evenness(*burst(course, error), keep_slow=True)
    assert not evened.needed
    assert np.all(evened.gains == 1)


def test_frames_that_are_not_known_keep_their_light():
    course = 0.05 * np.random.default_rng(1).standard_normal(30)
    changes, halves, times = burst(course)
    changes[4], halves[4] = np.nan, np.nan
    evened = judge_evenness(changes, halves, times, keep_slow=True)
    assert np.all(evened.gains[4] == 1)
    assert evened.needed
    nothing = judge_evenness(changes * np.nan, halves * np.nan, times, keep_slow=True)
    assert not nothing.needed


def test_an_outlier_does_not_bend_the_slow_part():
    times = np.arange(60.0)
    course = 0.01 * times
    course[30] += 1.0
    assert np.abs(slow_part(course, times) - 0.01 * times).max() < 0.005


@pytest.mark.parametrize("count", [1, 2, 4, 5, 300])
def test_the_slow_part_of_any_number_of_frames(count):
    steady = slow_part(np.full(count, 0.3), np.arange(float(count)))
    np.testing.assert_allclose(steady, 0.3, atol=1e-12)
    at_once = slow_part(np.full(count, 0.3), np.zeros(count))
    np.testing.assert_allclose(at_once, 0.3, atol=1e-12)


@given(gain=st.floats(0.1, 4.0))
def test_burnt_stays_burnt_and_greys_stay_in_order(gain):
    ramp = np.linspace(0, 1.1, 1101, dtype=np.float32)
    light = np.repeat(ramp[None, :, None], 3, axis=2)
    FrameGains(np.array([[1.0, 1.0, 1.0], [gain, gain, 1.0]]))(light, 1)
    out = light[0, :, 0]
    np.testing.assert_allclose(out[:950], ramp[:950] * np.float32(gain), rtol=1e-6)
    assert out[1000:].min() >= 1.0
    assert np.all(np.diff(out) >= -1e-6)
    np.testing.assert_array_equal(light[0, :, 2], ramp)


def test_gains_of_one_change_no_bit():
    light = np.random.default_rng(5).random((30, 40, 3), np.float32)
    before = light.copy()
    FrameGains(np.ones((2, 3)))(light, 1)
    np.testing.assert_array_equal(light, before)


def test_gains_of_a_part_leave_the_rest_to_the_bit_and_mix_in_between():
    rng = np.random.default_rng(4)
    light = rng.uniform(0.01, 0.9, (40, 30, 3)).astype(np.float32)
    share = np.zeros((40, 30), np.uint16)
    share[20:] = 65535
    share[19] = 32768
    whole = FrameGains(np.array([[1.1, 1.2, 0.9]]))
    evened, everywhere = light.copy(), light.copy()
    PartGains(whole, share)(evened, 0)
    whole(everywhere, 0)
    np.testing.assert_array_equal(evened[:19], light[:19])
    # one rounding of float32 each way
    np.testing.assert_allclose(evened[20:], everywhere[20:], rtol=2e-6)
    np.testing.assert_allclose(evened[19], (light[19] + everywhere[19]) / 2, rtol=1e-4)
