"""Bursts with known motion are held, still ones are left alone, bad frames are left out."""

import numpy as np
import pytest

from stacker.errors import BurstError
from stacker.register import register_frames
from stacker.register.geometry import compose, grid_of, invert, is_identity, rms_difference
from tests.register.scene.frames import SIZE, burst_of, errors, register

# Twice the error that the benchmark shows at 1500 x 1000, times three for a picture with a tenth
# of the pixels; at night noise decides, by day the coding does.
MOST_PX = {"day": 0.03, "drift": 0.03, "movers": 0.12, "water": 0.06, "night": 0.25}


@pytest.mark.parametrize("name", list(MOST_PX))
def test_a_known_motion_is_found_back(name):
    burst = burst_of(name)
    motion = register(burst)
    assert all(frame.used for frame in motion.frames)
    assert errors(burst, motion).max() < MOST_PX[name]
    assert not motion.is_still


@pytest.mark.parametrize("name", ["tripod", "tripod night"])
def test_a_still_burst_is_left_alone(name):
    motion = register(burst_of(name))
    assert motion.motion_model == "still"
    assert motion.is_still
    assert all(is_identity(frame.to_reference) for frame in motion.frames)


def test_ground_that_stays_outvotes_a_sky_that_turns():
    """Two thirds of the picture turn as one; the rest has not moved by a hair."""
    tripod, turning = burst_of("tripod"), burst_of("day", seed=3)
    frames = [
        np.concatenate([sky[:210], ground[210:]])
        for sky, ground in zip(turning.frames, tripod.frames, strict=True)
    ]
    motion = register_frames(frames.__getitem__, len(frames), reference=0)
    assert motion.motion_model == "still"
    assert all(frame.used for frame in motion.frames)


def test_a_touched_tripod_makes_two_stretches():
    burst = burst_of("touched")
    motion = register(burst)
    assert motion.motion_model == "stretches"
    for frame in motion.frames[:3]:
        assert is_identity(frame.to_reference)
    for frame in motion.frames[4:]:
        np.testing.assert_array_equal(frame.to_reference, motion.frames[3].to_reference)
    assert errors(burst, motion).max() < MOST_PX["day"]


@pytest.mark.parametrize("name", ["odd", "odd night"])
def test_every_bad_frame_is_left_out_with_its_reason(name):
    burst = burst_of(name)
    motion = register(burst)
    words = {
        "black": "black", "flash": "flash", "blur": "motion", "focus": "focus",
        "elsewhere": "something else", "covered": "nothing of the scene",
    }  # fmt: skip
    for number, frame in enumerate(motion.frames):
        how = burst.scenario.odd.get(number)
        if how is None:
            assert frame.used, frame.why
        else:
            assert not frame.used, how
            assert words[how] in frame.why


def test_workers_make_no_difference():
    burst = burst_of("movers")
    one, many = register(burst, workers=1), register(burst, workers=4)
    for left, right in zip(one.frames, many.frames, strict=True):
        np.testing.assert_array_equal(left.to_reference, right.to_reference)
        assert (left.why, left.residual_px) == (right.why, right.residual_px)


def test_another_order_gives_the_same_motions():
    burst = burst_of("day")
    order = [3, 0, 4, 1, 2]
    plain = register(burst)
    shuffled = register_frames(
        lambda index: burst.frames[order[index]], len(order), reference=order.index(0)
    )
    for place, number in enumerate(order):
        apart = rms_difference(
            shuffled.frames[place].to_reference, plain.frames[number].to_reference, grid_of(SIZE)
        )
        # guesses come from other neighbours; the fine fit ends where it ends
        assert apart < 0.005


def test_another_reference_gives_the_same_motions_from_there():
    burst = burst_of("day")
    motion = register(burst, reference=2)
    assert is_identity(motion.frames[2].to_reference)
    to_second = invert(burst.to_reference[2])
    for frame, truth in zip(motion.frames, burst.to_reference, strict=True):
        apart = rms_difference(frame.to_reference, compose(to_second, truth), grid_of(SIZE))
        assert apart < MOST_PX["day"]


def test_a_transposed_burst_has_transposed_motions():
    burst = burst_of("day")
    plain = register(burst)
    turned = register_frames(
        lambda index: np.ascontiguousarray(burst.frames[index].swapaxes(0, 1)),
        len(burst.frames),
        reference=0,
    )
    swap = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1.0]])
    for left, right in zip(plain.frames, turned.frames, strict=True):
        back = compose(swap, compose(right.to_reference, swap))
        # tiles fall otherwise upon the picture
        assert rms_difference(left.to_reference, back, grid_of(SIZE)) < MOST_PX["day"]


def test_the_reference_is_the_sharpest_near_the_middle():
    import cv2

    burst = burst_of("day")
    blurred = [frame if n == 3 else cv2.GaussianBlur(frame, (0, 0), 1.2) for n, frame in
               enumerate(burst.frames)]  # fmt: skip
    assert register_frames(blurred.__getitem__, 5).reference == 3
    assert register_frames(burst.frames.__getitem__, 5).reference == 2


def test_nothing_to_hold_on_to_is_one_sentence():
    rng = np.random.default_rng(1)
    sky = [0.4 + 0.01 * rng.standard_normal((240, 320, 3)).astype(np.float32) for _ in range(4)]
    with pytest.raises(BurstError, match=r"nothing in it to hold on to.*--hold still") as caught:
        register_frames(sky.__getitem__, 4)
    assert caught.value.code == "burst-no-texture"


def test_frames_of_different_places_are_refused():
    day = burst_of("day").frames[0]
    other = burst_of("day", seed=2).frames[0]
    frames = [day, other, day * 0, other[:, ::-1]]
    with pytest.raises(BurstError, match="only 1 of 4") as caught:
        register_frames(frames.__getitem__, 4, reference=0)
    assert caught.value.code == "burst-not-held"


def test_one_frame_is_its_own_reference():
    motion = register_frames(burst_of("day").frames.__getitem__, 1)
    assert motion.reference == 0
    assert motion.is_still


def test_motions_leave_for_the_full_size():
    """Frames of half the size give the motions of the whole, twice as coarse."""
    import cv2

    burst = burst_of("day")
    half = [
        cv2.resize(frame, (SIZE[0] // 2, SIZE[1] // 2), interpolation=cv2.INTER_AREA)
        for frame in burst.frames
    ]
    motion = register_frames(half.__getitem__, len(half), reference=0, factor=2)
    assert errors(burst, motion).max() < 2 * 2 * MOST_PX["day"]
