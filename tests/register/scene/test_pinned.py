"""Tiles that never move pin the camera down; a hand leaves none."""

import numpy as np
import pytest

from stacker.register.scene.grey import grey_of
from stacker.register.scene.pair import prepare
from stacker.register.scene.pinned import pinned, share_of, stays_of
from tests.register.scene.frames import burst_of


def stays_in(name: str, noise: float):
    """Return what stayed in the frames of a burst, held against the first."""
    burst = burst_of(name)
    tiles = prepare(grey_of(burst.frames[0])).tiles[0]
    return [stays_of(tiles, grey_of(frame), noise) for frame in burst.frames[1:]]


def test_a_tripod_is_pinned_down_among_walkers():
    frames = stays_in("tripod", noise=0.002)
    pins = pinned(frames)
    assert pins is not None
    assert min(share_of(frame, pins) for frame in frames) > 0.5


@pytest.mark.parametrize(("name", "noise"), [("day", 0.002), ("movers", 0.002), ("night", 0.012)])
def test_a_hand_pins_nothing_down(name, noise):
    assert pinned(stays_in(name, noise)) is None


def test_tiles_that_all_wish_the_same_way_are_not_pinned():
    """Each alone cannot tell a tenth of a pixel from nothing; together they can."""
    tiles = np.ones(40, bool)
    frame = stays_in("tripod", 0.002)[0]
    sure = np.tile(np.eye(2, dtype=np.float32) / 0.14**2, (40, 1, 1))

    def wishing(px: float):
        return [type(frame)(tiles, tiles, sure, np.float32(px) * sure[:, :, 0]) for _ in range(4)]

    assert pinned(wishing(0.01)) is not None
    assert pinned(wishing(0.1)) is None
