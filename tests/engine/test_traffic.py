"""What is told of lamps that passed, and of the empty road."""

from dataclasses import dataclass

import pytest

import stacker
from stacker.engine.traffic import told_of_traffic
from tests.bursts import write_jpegs


@dataclass
class Linked:
    """A link as far as it is counted."""

    earlier: int
    later: int


@dataclass
class Lamps:
    """What a bridge of lamps knows of streaks, as far as it is counted."""

    streaks: tuple
    links: tuple
    background: object = True


@pytest.fixture
def burst(tmp_path):
    write_jpegs(tmp_path / "burst", 6, shutter_s=1.0, interval_s=2.0)
    return stacker.open_burst(tmp_path / "burst")


def test_chains_are_lamps_and_runs_without_streaks_are_empty(burst):
    one, none = ("streak",), ()
    # two lamps from frame 1 to 2, of which the first goes on to 3; one alone in frame 5
    lamps = Lamps(
        (("a", "b"), ("a", "b"), one, none, one, none),
        ((Linked(0, 0), Linked(1, 1)), (Linked(0, 0),), (), (), ()),
    )
    found, (sentence,) = told_of_traffic(lamps, burst, range(6))
    assert found["traffic"]["lamps"] == 2 and found["traffic"]["streaks"] == 6
    assert [(e["first"], e["from_s"], e["to_s"]) for e in found["traffic"]["empty"]] == [
        ("KP_0004.jpg", 6.0, 7.0),
        ("KP_0006.jpg", 10.0, 11.0),
    ]
    assert sentence == (
        "6 streaks of lamps were found in 6 frames, of 2 that went on from frame to frame; "
        "the road was empty from 6 to 7 s, 10 to 11 s"
    )


def test_a_busy_road_was_never_empty(burst):
    lamps = Lamps((("a",),) * 6, ((),) * 5)
    assert told_of_traffic(lamps, burst, range(6))[1][0].endswith("the road was never empty")


def test_where_no_lamp_could_be_told_nothing_is(burst):
    assert told_of_traffic(Lamps(((),) * 6, ((),) * 5, None), burst, range(6))[1] == []
