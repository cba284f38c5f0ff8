"""Frames held by way of their neighbours."""

import numpy as np

from stacker.register.geometry import compose, grid_of, invert, rms_difference, translation
from stacker.register.scene.grey import grey_of
from stacker.register.scene.links import Known, held_by
from stacker.register.scene.pair import estimate, prepare
from tests.register.scene.frames import SIZE, burst_of


def ways(wrong_px):
    """Return where frame 2 is by way of frame 1, from an estimate put off, and the truth."""
    burst = burst_of("day")
    greys = [grey_of(frame) for frame in burst.frames[:3]]
    to_frame = [invert(motion) for motion in burst.to_reference]
    held = prepare(greys[0])
    known = Known(greys[1], to_frame[1], 1e8 * np.eye(8))
    found = estimate(held, greys[2], [compose(translation(wrong_px, 0), to_frame[2])], None)
    return held_by([known], held, greys[2], found), to_frame[2]


def test_two_ways_to_one_place_confirm_each_other():
    found, truth = ways(0.0)
    assert found.confirmed
    # as good as a frame held against the reference: noise and coding of a small picture
    assert rms_difference(found.to_frame, truth, grid_of(SIZE)) < 0.05


def test_nobody_known_changes_nothing():
    greys = [grey_of(frame) for frame in burst_of("day").frames[:2]]
    held = prepare(greys[0])
    found = estimate(held, greys[1], [], None)
    assert held_by([], held, greys[1], found) is found
