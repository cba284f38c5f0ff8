"""A steady cadence found again through stamps of whole seconds."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from stacker.burst.cadence import fit_cadence

# each opening and its estimate lie in the same window (with its slack), and so do the first frame's
WINDOW_S = 1.0 + 1e-3
# rounding of the search and of float64 seconds
TINY_S = 1e-6

intervals = st.floats(0.3, 40.0)
phases = st.floats(0.0, 0.999)


@given(intervals, phases, st.integers(3, 300), st.booleans())
def test_an_even_cadence_is_found(interval: float, phase: float, count: int, rounds: bool) -> None:
    true = phase + interval * np.arange(count)
    stamps = np.floor(true + 0.5 * rounds)
    assume(stamps[-1] > stamps[0])
    found = fit_cadence(stamps)
    assert found.ok and found.breaks == ()
    assert abs(found.interval_s - interval) <= found.doubt_s + TINY_S
    assert found.doubt_s <= WINDOW_S / (count - 1) + TINY_S
    # no frame is further off than the interval's doubt over the burst, plus the same for the phase
    bound = min(WINDOW_S, 2 * found.doubt_s * (count - 1)) + TINY_S
    assert np.abs(found.starts_s - (true - true[0])).max() <= bound


@given(intervals, phases, st.integers(4, 100), st.integers(4, 100), st.floats(3.0, 600.0))
def test_a_pause_splits_the_burst_and_the_interval_is_shared(
    interval: float, phase: float, before: int, after: int, pause: float
) -> None:
    true = phase + interval * np.arange(before + after)
    true[before:] += pause
    stamps = np.floor(true)
    found = fit_cadence(stamps)
    assume(found.ok)
    assert abs(found.interval_s - interval) <= found.doubt_s + TINY_S
    # both stretches have a phase of their own, known to a second
    assert np.abs(found.starts_s - (true - true[0])).max() <= 2 * WINDOW_S
    within = np.diff(found.starts_s - true)
    within[before - 1] = 0.0
    assert np.abs(within).max() <= found.doubt_s + TINY_S


@pytest.mark.parametrize("interval", [0.5, 1.0, 2.0, 3.0, 5.0, 30.0])
def test_a_timer_set_to_whole_or_half_seconds_is_exact_over_many_frames(interval: float) -> None:
    true = 0.37 + interval * np.arange(200)
    found = fit_cadence(np.floor(true))
    assert found.interval_s == pytest.approx(interval, abs=0.003)
    assert np.abs(found.starts_s - (true - true[0])).max() < 0.3


def test_a_fractional_cadence_is_right_to_a_small_part_of_a_second() -> None:
    true = 0.1 + 2.37 * np.arange(60)
    found = fit_cadence(np.floor(true))
    assert np.abs(found.starts_s - (true - true[0])).max() < 0.05


def test_a_missing_frame_is_a_pause() -> None:
    true = np.delete(0.2 + 1.3 * np.arange(60), 30)
    found = fit_cadence(np.floor(true))
    assert found.ok and found.breaks == (30,)
    assert found.interval_s == pytest.approx(1.3, abs=0.02)


def test_known_counters_bridge_frames_without_a_stamp() -> None:
    places = np.delete(np.arange(60), [3, 20, 21])
    found = fit_cadence(np.floor(0.2 + 1.3 * places), places)
    assert found.ok and found.breaks == ()
    np.testing.assert_allclose(found.starts_s, 1.3 * places, atol=0.1)


def test_a_little_jitter_is_borne() -> None:
    rng = np.random.default_rng(5)
    true = 0.2 + 1.7 * np.arange(80) + rng.uniform(-0.03, 0.03, 80)
    found = fit_cadence(np.floor(true))
    assert found.ok
    assert found.interval_s == pytest.approx(1.7, abs=0.02)


def test_an_unsteady_burst_is_told_apart_and_keeps_its_stamps() -> None:
    rng = np.random.default_rng(2)
    stamps = np.floor(np.cumsum(rng.uniform(1, 30, 60)))
    found = fit_cadence(stamps)
    assert not found.ok and found.reason
    assert np.abs(found.starts_s - (stamps - stamps[0])).max() < WINDOW_S


def test_the_shutter_narrows_the_interval() -> None:
    stamps = [0.0, 4.0, 8.0]
    assert fit_cadence(stamps, at_least_s=4.2).interval_s > fit_cadence(stamps).interval_s
