"""By day everything moves and nothing is a lamp: no streak is believed, and little time is lost."""

import numpy as np
import pytest

from stacker.bridge import Exposed
from stacker.bridge.streaks import bridge_streaks, detect
from stacker.bridge.streaks import burst as streaks_burst
from tests.bridge.streaks.lamps import Lamp, bridged, burst_of, straight


def test_where_all_moves_nothing_is_bridged(monkeypatch):
    monkeypatch.setattr(streaks_burst, "MOST_STREAKS", 3)
    rng = np.random.default_rng(5)
    asked = []

    def frames(number):
        asked.append(number)
        light = rng.normal(0.1, 0.002, (120, 160, 3)).astype(np.float32)
        for line in range(8):
            start = int(rng.integers(10, 90))
            light[8 + 14 * line : 11 + 14 * line, start : start + 40] += 0.5
        return light

    bridge = bridge_streaks(frames, [Exposed(number, 0.8) for number in range(4)])
    assert [gap.bridged for gap in bridge.gaps] == [False] * 3
    assert all("so much moves" in gap.why for gap in bridge.gaps)
    background = frames(0)
    assert bridge.between(1, background, background) == []


def test_a_crowd_of_lines_is_not_joined(monkeypatch):
    """Joining takes time with the square of lines; by day there are tens of thousands."""
    joined = []
    monkeypatch.setattr(detect, "join", lambda lines, _: joined.append(len(lines)) or lines)
    frames = [np.full((120, 160, 3), 0.1, np.float32) for _ in range(3)]
    for number, light in enumerate(frames):
        for line in range(8):
            light[8 + 14 * line : 10 + 14 * line, 10 + 50 * number : 40 + 50 * number] += 0.5
    exposed = [Exposed(1.2 * number, 1.0) for number in range(3)]
    bridge_streaks(frames.__getitem__, exposed)
    assert max(joined) >= 8
    joined.clear()
    monkeypatch.setattr(detect, "MOST_JOINED", 5)
    bridge_streaks(frames.__getitem__, exposed)
    assert max(joined, default=0) <= 5


@pytest.mark.parametrize("share", [0.75, 1.1])
def test_no_shell_is_looked_for_where_nearly_all_go_on(monkeypatch, share):
    """Stars without a sky: the search for shells would take most of the time."""
    monkeypatch.setattr(streaks_burst, "MANY_STREAKS", 6)
    monkeypatch.setattr(streaks_burst, "MOST_GO_ON", share)
    searched = []
    search = streaks_burst.follow_sparks

    def counted(*arguments):
        searched.append(1)
        return search(*arguments)

    monkeypatch.setattr(streaks_burst, "follow_sparks", counted)
    pictures, exposed = burst_of([Lamp(straight((15, 12 + 12 * n), (40, 2))) for n in range(8)],
                                 4, 0.2)  # fmt: skip
    bridge, _ = bridged(pictures, exposed)
    assert [len(links) for links in bridge.links] == [8, 8, 8]
    assert len(searched) == (0 if share < 1 else 3)
