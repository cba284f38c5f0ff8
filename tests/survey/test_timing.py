"""The rhythm of a burst, by arithmetic."""

import pytest

from stacker.survey.timing import rhythm_of


def test_rhythm_of_a_steady_burst():
    rhythm = rhythm_of([0.0, 2.0, 4.0, 6.0], [0.5] * 4)
    assert rhythm.interval_s == 2.0
    assert rhythm.gaps_s == (1.5, 1.5, 1.5, None)
    assert rhythm.open_s == 2.0
    assert rhythm.elapsed_s == 6.5
    assert rhythm.open_share == pytest.approx(2 / 6.5)
    assert rhythm.pauses == ()


def test_a_long_step_is_a_pause():
    assert rhythm_of([0.0, 1.0, 2.0, 5.0, 6.0], [0.5] * 5).pauses == (2,)


def test_unknown_shutters_stay_unknown():
    rhythm = rhythm_of([0.0, 1.0, 2.0], [0.5, None, 0.5])
    assert rhythm.gaps_s == (0.5, None, None)
    assert rhythm.open_s is None


def test_one_frame_has_no_interval():
    assert rhythm_of([0.0], [None]).interval_s is None
