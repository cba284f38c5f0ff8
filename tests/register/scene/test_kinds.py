"""Bursts of every shape and kind are held: small, many, turned far, repeated, half hopeless."""

import dataclasses

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.errors import BurstError
from stacker.register import register_frames
from stacker.register.geometry import compose, grid_of, invert, is_identity, rms_difference
from tests.benchmarks.simulated_bursts import View, render, simulate
from tests.register.scene.frames import SCENARIOS, SIZE, burst_of, errors, register

SMALL = (240, 160)


def shaken(motion: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return a frame and what it looks like through a motion to it, without noise."""
    picture = cv2.resize(burst_of("day").frames[0], None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    size = (SIZE[0] - 100, SIZE[1] - 80)
    return tuple(render(picture, View(one, size)) for one in (np.eye(3), motion))


@settings(max_examples=8, deadline=None)
@given(
    st.lists(st.floats(-0.02, 0.02), min_size=4, max_size=4),
    st.lists(st.floats(-12, 12), min_size=2, max_size=2),
    st.lists(st.floats(-3e-5, 3e-5), min_size=2, max_size=2),
)
def test_any_small_homography_is_found_back(linear, shift, tilt):
    a, b, c, d = linear
    truth = np.array([[1 + a, b, shift[0]], [c, 1 + d, shift[1]], [*tilt, 1.0]])
    frames = shaken(truth)
    motion = register_frames(frames.__getitem__, 2, reference=0)
    found = motion.frames[1].to_reference
    apart = rms_difference(found, truth, grid_of((SIZE[0] - 100, SIZE[1] - 80)))
    # Linear interpolation of the picture at twice the size, and a motion of less than the floor
    # of 0.03 px of the burst's simplest model may be taken away.
    assert apart < 0.06


@pytest.mark.parametrize("degrees", [1.5, 3.0, 5.0])
def test_a_large_turn_is_found(degrees):
    middle = (SIZE[0] / 2 - 50, SIZE[1] / 2 - 40)
    turn = np.vstack([cv2.getRotationMatrix2D(middle, degrees, 1.0), (0, 0, 1)])
    motion = register_frames(shaken(turn).__getitem__, 2, reference=0)
    assert motion.frames[1].used
    size = (SIZE[0] - 100, SIZE[1] - 80)
    assert rms_difference(motion.frames[1].to_reference, turn, grid_of(size)) < 0.06


def test_a_portrait_is_held():
    burst = simulate(dataclasses.replace(SCENARIOS["day"], frames=3), (320, 480), 1)
    motion = register(burst)
    assert all(frame.used for frame in motion.frames)
    # as wide as the picture of MOST_PX is high, where perspective is known less well
    assert errors(burst, motion).max() < 0.05


def test_a_stamp_is_too_small_to_be_held_and_says_what_to_do():
    burst = simulate(dataclasses.replace(SCENARIOS["day"], frames=3), (64, 48), 1)
    with pytest.raises(BurstError, match="--hold still"):
        register(burst)


def test_a_repeated_frame_lies_where_its_twin_does():
    frames = burst_of("day").frames
    order = [0, 0, 1, 1, 2]
    motion = register_frames(lambda index: frames[order[index]], 5, reference=0)
    assert is_identity(motion.frames[1].to_reference)
    left, right = (motion.frames[n].to_reference for n in (2, 3))
    # the second starts from the first one's neighbourhood: it ends where the fit ends
    assert rms_difference(left, right, grid_of(SIZE)) < 0.005


def test_many_frames_are_seen_one_by_one():
    burst = simulate(dataclasses.replace(SCENARIOS["day"], frames=4, degrees=0.5), SMALL, 1)
    seen = []

    def source(index: int) -> np.ndarray:
        seen.append(index)
        return burst.frames[index % 4]

    motion = register_frames(source, 40, reference=0)
    assert motion.used == 40
    assert len(seen) < 44


def test_motions_from_two_references_agree():
    burst = burst_of("day")
    one, other = register(burst), register(burst, reference=2)
    over = invert(one.frames[2].to_reference)
    for left, right in zip(one.frames, other.frames, strict=True):
        apart = rms_difference(compose(over, left.to_reference), right.to_reference, grid_of(SIZE))
        # each is off by a hundredth, see MOST_PX
        assert apart < 0.04
