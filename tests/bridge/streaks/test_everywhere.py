"""By day everything moves and nothing is a lamp: no streak is believed, and little time is lost."""

import numpy as np

from stacker.bridge import Exposed
from stacker.bridge.streaks import bridge_streaks
from stacker.bridge.streaks import burst as streaks_burst


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
