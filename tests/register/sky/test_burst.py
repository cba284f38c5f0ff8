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
    lights = sky.lights()
    options.setdefault("starts_s", sky.clock)
    return register_sky(lights.__getitem__, len(lights), size=SIZE, **options)


def errors(sky, motion):
    """Return the error of each frame's motion over the sky, px."""
    found = []
    for number, frame in enumerate(motion.frames):
        points = sky.sky_points(number, motion.reference, 12)
        led = apply(frame.to_reference, points)
        if frame.local is not None:
            led = led + frame.local.at(led)
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
    assert [frame.why for frame in motion.frames] == [None] * 6
    assert is_identity(motion.frames[motion.reference].to_reference)
    # the sky did move: what is held is not the ground
    assert not is_identity(motion.frames[0].to_reference)


def test_it_says_how_far_it_is_off(plain):
    sky, motion = plain
    said = np.array([frame.residual_px for frame in motion.frames])
    off = errors(sky, motion)
    others = np.arange(6) != motion.reference
    # one burst: errors of all frames go together
    assert 0.2 < np.median(off[others] / said[others]) < 4
    assert said[motion.reference] == 0


def test_workers_change_nothing(plain):
    sky, motion = plain
    again = register(sky, workers=3)
    for one, other in zip(motion.frames, again.frames, strict=True):
        np.testing.assert_array_equal(one.to_reference, other.to_reference)
        assert one.residual_px == other.residual_px


def test_frames_come_once_each(plain):
    sky, _ = plain
    lights, asked, told = sky.lights(), [], []

    def source(number):
        asked.append(number)
        return lights[number]

    register_sky(source, 6, size=SIZE, on_frame=lambda done, count: told.append((done, count)))
    assert sorted(asked) == list(range(6))
    assert told == [(done, 6) for done in range(1, 7)]


def test_a_lens_that_bends_is_found():
    sky = small_sky(distortion=(-0.08,), interval_s=300.0)
    motion = register(sky)
    assert errors(sky, motion).max() < 2 * GOOD_PX
    assert any(frame.local is not None for frame in motion.frames)


def test_hours_lie_between_the_frames():
    sky = small_sky(interval_s=1800.0)
    assert errors(sky, register(sky)).max() < GOOD_PX


@pytest.mark.parametrize("told", [None, 0.93, 1.07], ids=str)
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
    sky = small_sky(odd={0: "clouded", 2: "trailed", 5: "away"}, frames=8)
    why = [frame.why for frame in register(sky).frames]
    assert [number for number, reason in enumerate(why) if reason] == [0, 2, 5]
    assert "clouds" in why[0]
    assert "trailed" in why[2]
    assert "bumped or turned away" in why[5]


def test_reduced_frames_give_motions_for_the_full_size(plain):
    sky, motion = plain
    lights = sky.lights()
    double = register_sky(
        lights.__getitem__, 6, size=(2 * SIZE[0], 2 * SIZE[1]), factor=2, starts_s=sky.clock
    )
    points = np.array([[10.0, 20.0], [300.0, 100.0]])
    # the centre of reduced pixel x lies at 2 x + 1/2
    np.testing.assert_allclose(
        apply(double.frames[0].to_reference, 2 * points + 0.5),
        2 * apply(motion.frames[0].to_reference, points) + 0.5,
        atol=1e-6,
    )


def test_a_named_reference_is_kept(plain):
    sky, _ = plain
    motion = register(sky, reference=1)
    assert motion.reference == 1
    assert errors(sky, motion).max() < GOOD_PX


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"zero_light": 0.0, "hot_pixels": 0, "ground": 0.0}, "burst-few-stars"),
        ({"zero_light": 0.0, "hot_pixels": 80}, "burst-stars-still"),
        ({"interval_s": 0.01, "shutter_s": 0.01}, "burst-stars-still"),
        ({"odd": dict.fromkeys(range(6), "clouded"), "zero_light": 100.0}, None),
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
    sky = small_sky(odd={1: "clouded"}, zero_light=100.0, hot_pixels=0)
    with pytest.raises(BurstError) as caught:
        register(sky, reference=1)
    assert caught.value.code == "reference-few-stars"
    assert "frame 2" in str(caught.value)
