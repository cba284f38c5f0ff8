"""A subject is held to a fraction of a pixel, and frames without it are left out."""

import cv2
import numpy as np
import pytest

from stacker.errors import BurstError, OptionError
from stacker.register.geometry import compose, grid_of, invert, is_identity, rms_difference
from stacker.register.subject import register_subject
from tests.benchmarks.subject import errors_of
from tests.register.subject.rides import SIZE, held, register, ride_of

# What a pan must reach, by day and at dusk; these rides come to a third of it.
DAY_PX, DUSK_PX = 0.1, 0.3
SHIFTS = ("pan", "fast pan", "fast subject", "drift", "dusk", "loose box")
TURNING = ("grows", "shrinks", "turns")


@pytest.mark.parametrize("name", [*SHIFTS, *TURNING])
def test_a_known_motion_is_found_back(name):
    burst, motion = ride_of(name), held(name)
    assert all(frame.used for frame in motion.frames)
    assert errors_of(burst, motion).max() < (DUSK_PX if name == "dusk" else DAY_PX)


@pytest.mark.parametrize("name", SHIFTS)
def test_a_shift_is_called_a_shift(name):
    motion = held(name)
    assert motion.motion_model == "shift"
    for frame in motion.frames:
        np.testing.assert_array_equal(frame.to_reference[:2, :2], np.eye(2))
        np.testing.assert_array_equal(frame.to_reference[2], (0, 0, 1))


@pytest.mark.parametrize("name", TURNING)
def test_a_change_of_size_or_turn_is_a_similarity(name):
    assert held(name).motion_model == "similarity"


def test_a_standing_subject_is_not_resampled():
    motion = held("stands")
    assert motion.motion_model == "still"
    assert motion.is_still


def test_poles_before_the_subject_do_not_pull_it():
    burst, motion = ride_of("poles"), held("poles")
    used = [frame.used for frame in motion.frames]
    assert sum(used) >= 5
    assert errors_of(burst, motion)[used].max() < DAY_PX


@pytest.mark.parametrize(
    ("name", "gone", "word"),
    [
        ("hidden", {3}, "cannot be found"),
        ("away", {2, 3, 4}, "cannot be found"),
        ("blurred", {4}, "blurred by motion"),
        ("leaves", {5, 6}, "left the picture"),
    ],
)
def test_a_frame_without_the_subject_is_left_out(name, gone, word):
    burst, motion = ride_of(name), held(name)
    for number, frame in enumerate(motion.frames):
        assert frame.used == (number not in gone), (number, frame.why)
        if number in gone:
            assert word in frame.why
        else:
            assert frame.why is None
    used = [frame.used for frame in motion.frames]
    # found again where it comes back
    assert errors_of(burst, motion)[used].max() < DAY_PX


def test_a_black_frame_is_called_black():
    burst = ride_of("pan")
    frames = [frame * (0 if n == 3 else 1) for n, frame in enumerate(burst.frames)]
    motion = register_subject(frames.__getitem__, len(frames), box=burst.box)
    assert [frame.why for frame in motion.frames].index("it is black") == 3
    assert motion.used == len(frames) - 1


def test_the_likely_error_tells_good_from_bad():
    pan, dusk = held("pan"), held("dusk")
    likely = [np.median([f.residual_px for f in motion.frames[1:]]) for motion in (pan, dusk)]
    actual = [np.median(errors_of(ride_of(name), held(name))[1:]) for name in ("pan", "dusk")]
    assert likely[0] < likely[1]
    # the reference's own error is in the actual one, and the two are samples of few
    for one, other in zip(likely, actual, strict=True):
        assert one / 4 < other < 4 * one


def test_another_reference_gives_the_same_motions_from_there():
    burst = ride_of("grows")
    plain, other = held("grows"), register(burst, reference=4)
    assert is_identity(other.frames[4].to_reference)
    back = invert(plain.frames[4].to_reference)
    for one, two in zip(plain.frames, other.frames, strict=True):
        apart = rms_difference(compose(back, one.to_reference), two.to_reference, grid_of(SIZE))
        assert apart < 1e-9


def test_workers_make_no_difference():
    one, many = held("grows"), register(ride_of("grows"), workers=4)
    for left, right in zip(one.frames, many.frames, strict=True):
        np.testing.assert_array_equal(left.to_reference, right.to_reference)
        assert (left.why, left.residual_px) == (right.why, right.residual_px)


def test_frames_are_read_again_where_memory_ends(monkeypatch):
    monkeypatch.setattr("stacker.register.subject.burst.KEPT_BYTES", 0)
    again = register(ride_of("pan"))
    for left, right in zip(held("pan").frames, again.frames, strict=True):
        # the part of the frame that is read again lies about a better place
        assert rms_difference(left.to_reference, right.to_reference, grid_of(SIZE)) < 1e-3


def test_motions_leave_for_the_full_size():
    """Frames of half the size give the motions of the whole, twice as coarse."""
    burst = ride_of("pan")
    half = (SIZE[0] // 2, SIZE[1] // 2)
    frames = [cv2.resize(f, half, interpolation=cv2.INTER_AREA) for f in burst.frames]
    motion = register_subject(frames.__getitem__, len(frames), box=burst.box, factor=2)
    assert errors_of(burst, motion).max() < 2 * DAY_PX


def test_progress_is_told():
    told = []
    register(ride_of("pan"), on_frame=lambda done, count: told.append((done, count)))
    assert told == [(number, 7) for number in range(1, 8)]


def test_a_box_beyond_the_picture_names_its_size():
    with pytest.raises(OptionError, match=r"--box 400,10,100,50.*480 x 320 pixels") as caught:
        register(ride_of("pan"), box=(400, 10, 100, 50))
    assert caught.value.code == "box-outside"


def test_a_box_without_detail_is_one_sentence():
    burst = ride_of("pan")
    frames = [frame.copy() for frame in burst.frames]
    for frame in frames:
        frame[40:120, 40:160] = 0.3
    with pytest.raises(BurstError, match="too little detail in the box") as caught:
        register_subject(frames.__getitem__, len(frames), box=(50, 50, 90, 50))
    assert caught.value.code == "subject-no-texture"


def test_a_straight_edge_alone_cannot_be_followed():
    light = np.full((200, 300, 3), 0.2, np.float32)
    light[:, 150:] = 0.6
    with pytest.raises(BurstError, match="too little detail"):
        register_subject(lambda index: light, 3, box=(110, 60, 80, 80))


def test_a_subject_seen_once_is_one_sentence():
    burst = ride_of("pan")
    frames = [burst.frames[0], *(np.full_like(frame, 0.3) for frame in burst.frames[1:4])]
    with pytest.raises(BurstError, match="cannot be found again") as caught:
        register_subject(frames.__getitem__, 4, box=burst.box)
    assert caught.value.code == "subject-lost"


def test_a_reference_without_the_subject_is_one_sentence():
    with pytest.raises(BurstError, match="frame 4") as caught:
        register(ride_of("hidden"), reference=3)
    assert caught.value.code == "subject-not-in-reference"


def test_one_frame_is_its_own_reference():
    burst = ride_of("pan")
    motion = register_subject(burst.frames.__getitem__, 1, box=burst.box)
    assert motion.motion_model == "still"
    assert is_identity(motion.frames[0].to_reference)


def test_a_subject_too_small_to_fit_blames_the_box_and_not_the_reference():
    burst = ride_of("pan")
    frames = [frame[20 + n : 52 + n, 40 + n : 72 + n] for n, frame in enumerate(burst.frames)]
    with pytest.raises(BurstError, match="too little detail"):
        register_subject(frames.__getitem__, len(frames), box=(0, 0, 16, 16))
