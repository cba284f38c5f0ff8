"""Bursts of a simulated sky are held to its stars, or refused in words."""

import numpy as np
import pytest

from stacker.errors import BurstError
from stacker.register.geometry import apply, is_identity
from stacker.register.sky.burst import register_sky
from tests.register.sky.fields import SIZE, small_sky

# what stars of these frames allow, and a margin for the few of them
GOOD_PX = 0.03


def register(sky, **options):
    options.setdefault("starts_s", sky.clock)
    return register_sky(sky.light, sky.scenario.frames, size=SIZE, **options)


def errors(sky, motion):
    """Return the error of each frame's motion over the sky, px."""
    found = []
    for number, frame in enumerate(motion.frames):
        points = sky.sky_points(number, motion.reference, 12)
        led = apply(frame.to_reference, points)
        if frame.local is not None:
            led = led + frame.local.at_points(led)
        apart = led - sky.to_reference(points, number, motion.reference)
        found.append(float(np.sqrt(np.mean(np.sum(apart**2, axis=1)))))
    return np.array(found)


@pytest.fixture(scope="module")
def plain():
    sky = small_sky()
    return sky, register(sky)


def test_a_turning_sky_is_held(plain):
    sky, motion = plain
    assert errors(sky, motion).max() < GOOD_PX
    assert [frame.why for frame in motion.frames] == [None] * 5
    assert is_identity(motion.frames[motion.reference].to_reference)
    # the sky did move: what is held is not the ground
    assert not is_identity(motion.frames[0].to_reference)


def test_it_says_how_far_it_is_off(plain):
    sky, motion = plain
    said = np.array([frame.residual_px for frame in motion.frames])
    off = errors(sky, motion)
    others = np.arange(5) != motion.reference
    # one burst: errors of all frames go together
    assert 0.2 < np.median(off[others] / said[others]) < 4
    assert said[motion.reference] == 0


def test_workers_change_nothing_and_frames_come_once_each(plain):
    sky, motion = plain
    asked, told = [], []

    def source(number):
        asked.append(number)
        return sky.light(number)

    again = register_sky(
        source, 5, size=SIZE, starts_s=sky.clock, workers=3,
        on_frame=lambda done, count: told.append((done, count)),
    )  # fmt: skip
    for one, other in zip(motion.frames, again.frames, strict=True):
        np.testing.assert_array_equal(one.to_reference, other.to_reference)
        assert one.residual_px == other.residual_px
    assert sorted(asked) == list(range(5))
    assert told == [(done, 5) for done in range(1, 6)]


def test_a_lens_that_bends_is_found():
    sky = small_sky(distortion=(-0.08,), interval_s=300.0)
    motion = register(sky)
    assert errors(sky, motion).max() < 2 * GOOD_PX
    assert any(frame.local is not None for frame in motion.frames)


def test_hours_lie_between_the_frames():
    sky = small_sky(interval_s=1800.0)
    assert errors(sky, register(sky)).max() < GOOD_PX


@pytest.mark.parametrize("told", [None, 0.93], ids=str)
def test_the_focal_length_may_be_wrong_or_missing(told):
    sky = small_sky(pole_px=(0.5, -1.5))
    focal = told and told * sky.focal
    assert errors(sky, register(sky, focal_px=focal)).max() < GOOD_PX


def test_a_touched_tripod_is_held_all_the_same():
    sky = small_sky(touched=(3,))
    motion = register(sky)
    # three unknowns for each frame instead of three for the burst
    assert errors(sky, motion).max() < 2 * GOOD_PX
    assert all(frame.used for frame in motion.frames)


def test_odd_frames_are_told():
    sky = small_sky(odd={0: "clouded", 2: "trailed", 5: "away"}, frames=7)
    why = [frame.why for frame in register(sky).frames]
    assert [number for number, reason in enumerate(why) if reason] == [0, 2, 5]
    assert "clouds" in why[0]
    assert "trailed" in why[2]
    assert "bumped or turned away" in why[5]


def test_reduced_frames_give_motions_for_the_full_size_to_the_reference_named(plain):
    sky, _ = plain
    named = register_sky(
        sky.light, 5, size=(2 * SIZE[0], 2 * SIZE[1]), factor=2, starts_s=sky.clock, reference=1
    )
    assert named.reference == 1
    points = sky.sky_points(4, 1, 6)
    # the centre of reduced pixel x lies at 2 x + 1/2
    led = (apply(named.frames[4].to_reference, 2 * points + 0.5) - 0.5) / 2
    np.testing.assert_allclose(led, sky.to_reference(points, 4, 1), rtol=0, atol=2 * GOOD_PX)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"zero_light": 0.0, "hot_pixels": 0, "ground": 0.0}, "burst-few-stars"),
        ({"zero_light": 0.0, "hot_pixels": 80}, None),
        ({"interval_s": 0.01, "shutter_s": 0.01}, "burst-stars-still"),
        ({"odd": dict.fromkeys(range(5), "overcast")}, None),
    ],
    ids=["no stars", "hot pixels", "a sky that stands still", "all cloud"],
)
def test_what_cannot_be_held_is_refused(changes, code):
    with pytest.raises(BurstError) as caught:
        register(small_sky(**changes))
    assert caught.value.remedy
    if code:
        assert caught.value.code == code


def test_a_reference_without_stars_is_refused():
    sky = small_sky(odd={1: "overcast"}, hot_pixels=0)
    with pytest.raises(BurstError) as caught:
        register(sky, reference=1)
    assert caught.value.code == "reference-few-stars"
    assert "frame 2" in str(caught.value)


def test_one_frame_needs_no_holding():
    motion = register_sky(lambda _: pytest.fail("looked at"), 1, size=SIZE)
    assert motion.is_still
    assert motion.used == 1


def test_two_frames_are_enough():
    sky = small_sky(frames=2, interval_s=600.0)
    motion = register(sky, starts_s=None)
    # one pair: whatever its stars are off by stays
    assert errors(sky, motion).max() < 2 * GOOD_PX
