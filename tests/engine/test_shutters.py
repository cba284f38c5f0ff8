"""The rungs of a ladder, their names, and which one suits."""

from dataclasses import replace
from pathlib import Path

import pytest

from stacker.burst import Frame
from stacker.engine.shutters import counts_for, dial_time, doubling_counts
from stacker.engine.verdict import Measure, suits_best
from stacker.errors import OptionError
from stacker.light.encoding import Encoding
from stacker.light.space import SRGB

FRAME = Frame("a.jpg", Path("a.jpg"), "jpeg", 0, 0.0, 0.5, (4, 4), Encoding("uint8", SRGB))


@pytest.mark.parametrize(
    ("seconds", "name"),
    [
        (1 / 4000, "1/4000"),
        (1 / 60, "1/60"),
        (0.25, "1/4"),
        (8 / 60, "1/8"),
        (1 / 3, "1/3"),
        (0.5, "1/2"),
        (0.8, "0.8 s"),
        (1.0, "1 s"),
        (0.96, "1 s"),
        (2.0, "2 s"),
        (2.5, "2.5 s"),
        (30.0, "30 s"),
        (120.0, "2 min"),
        (150.0, "2 min 30 s"),
        (59.9, "1 min"),
        (3600.0, "1 h"),
        (4020.0, "1 h 7 min"),
    ],
)
def test_times_are_written_as_on_a_dial(seconds, name):
    assert dial_time(seconds) == name


def test_rungs_double_and_end_with_all():
    assert doubling_counts(1) == (1,)
    assert doubling_counts(16) == (1, 2, 4, 8, 16)
    assert doubling_counts(24) == (1, 2, 4, 8, 16, 24)


def test_given_times_take_the_nearest_frames():
    frames = [FRAME] * 20
    assert counts_for(frames, [4, 0.5, 0.6, 10.2]) == (1, 8, 20)
    # 24 frames of a clip of 25 a second are what a photographer calls one second
    assert counts_for([replace(FRAME, shutter_s=1 / 25)] * 24, [1.0]) == (24,)


@pytest.mark.parametrize(("wanted", "word"), [(10.9, "10 s in all"), (-1, "no time")])
def test_times_that_cannot_be_are_refused(wanted, word):
    with pytest.raises(OptionError, match=word):
        counts_for([FRAME] * 20, [wanted])
    with pytest.raises(OptionError, match="not known"):
        counts_for([replace(FRAME, shutter_s=None)] * 20, [1.0])


def test_the_shortest_silk_suits():
    measures = [Measure(contrast_left=left) for left in (1.0, 0.4, 0.09, 0.05)]
    assert suits_best(measures)[0] == 2
    assert measures[2].words == "9% of the texture left: silk"


def test_without_silk_the_smoothest_suits_and_is_said_to_be_no_silk():
    number, why = suits_best([Measure(contrast_left=left) for left in (1.0, 0.4, 0.3)])
    assert number == 2
    assert "smoothest" in why


def test_streaks_that_grow_no_more_are_long_enough():
    number, why = suits_best([Measure(streak_px=length) for length in (50, 300, 310)])
    assert (number, "shortest" in why) == (1, True)
    number, why = suits_best([Measure(streak_px=length) for length in (50, 300, 600)])
    assert (number, "still growing" in why) == (2, True)


def test_where_nothing_moves_the_least_noise_suits():
    assert suits_best([Measure(), Measure()])[0] == 1
