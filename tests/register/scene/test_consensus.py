"""Tiles asked one by one settle what walkers dispute, and are not sure of what is not there."""

import numpy as np

from stacker.register.geometry import identity, rms_difference, translation
from stacker.register.scene.consensus import consensus
from stacker.register.scene.grey import grey_of
from stacker.register.scene.pair import prepare
from tests.register.scene.frames import SIZE, burst_of


def asked(frame: np.ndarray, guess: np.ndarray):
    """Return what tiles of the first frame by day say of another near a guess."""
    reference = prepare(grey_of(burst_of("water").frames[0]))
    grey = grey_of(frame)
    return consensus(reference.grey, reference.tiles[0], grey, guess, reference.geometry)


def test_tiles_find_the_ground_from_a_guess_beside_it():
    burst = burst_of("water")
    truth = np.linalg.inv(burst.to_reference[1])
    first = asked(burst.frames[1], translation(4.0, -3.0) @ truth)
    found = asked(burst.frames[1], first.to_frame)
    ys, xs = np.nonzero(burst.static)
    points = np.stack([xs, ys], axis=1)[::29]
    # whole pixels of half the size and a parabola between them
    assert rms_difference(found.to_frame, truth, points) < 0.5
    assert found.followers > 10


def test_another_place_is_no_consensus():
    other = burst_of("day", seed=2).frames[0]
    found = asked(np.ascontiguousarray(other[:, ::-1]), identity())
    assert found is None or not found.sure


def test_nothing_to_look_for_is_no_consensus():
    assert asked(np.full((SIZE[1], SIZE[0], 3), 0.3, np.float32), identity()) is None
