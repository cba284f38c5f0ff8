"""Ways, profiles, the still copy and the search for stars, each against plain arithmetic."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from stacker.bridge.sky.catalogue import nearest_on_grid, stars_of
from stacker.bridge.sky.profile import Lessons, Profiles, passing
from stacker.bridge.sky.still import Still, root_codes, still_of, without_points
from stacker.bridge.sky.ways import Turn, pieces_of, strip_of
from stacker.register.sky.lens import Lens
from stacker.register.sky.turns import turn_about

LUMINANCE = (0.2126, 0.7152, 0.0722)
LENS = Lens((400, 300), 300.0)


@given(st.floats(20, 140), st.floats(0, 6.2), st.floats(0.15, 1.2))
def test_pixels_of_an_arc_lie_at_its_radius(radius, hour, angle):
    """Round the axis of the picture a star goes in a circle."""
    turn = Turn(LENS, np.eye(3), np.array([0, 0, angle]))
    place = LENS.centre + radius * np.array([[np.cos(hour), np.sin(hour)]])
    pieces = pieces_of(turn, LENS.rays(place), 0.0, 1.0)
    strip = strip_of(pieces, np.full(len(pieces.star), 3.0), 0.5, (300, 400))
    away = np.stack([strip.column, strip.row], 1) - LENS.centre
    # the arc turns towards greater angles, and its side points inwards: y goes down
    across = radius - np.linalg.norm(away, axis=1)
    # a parabola in place of an arc of 0.15 rad, and pixels 3 px to the side of one of 20 px
    assert np.abs(strip.across - across).max() < 0.1
    late = np.mod(np.arctan2(away[:, 1], away[:, 0]) - hour + np.pi, 2 * np.pi) - np.pi
    middle = np.abs(late / angle - 0.5) < 0.5
    assert np.abs(strip.moment[middle] - (late / angle)[middle]).max() < 0.1 / angle


@given(st.floats(20, 120), st.floats(0, 6.2), st.floats(0.05, 1.2))
def test_every_pixel_along_an_arc_is_met(radius, hour, angle):
    turn = Turn(LENS, np.eye(3), np.array([0, 0, angle]))
    place = LENS.centre + radius * np.array([[np.cos(hour), np.sin(hour)]])
    pieces = pieces_of(turn, LENS.rays(place), 0.0, 1.0)
    strip = strip_of(pieces, np.full(len(pieces.star), 2.0), 0.5, (300, 400))
    met = np.zeros((300, 400), bool)
    met[strip.row, strip.column] = True
    y, x = np.mgrid[0:300, 0:400] - LENS.centre[::-1, None, None]
    late = np.mod(np.arctan2(y, x) - hour, 2 * np.pi)
    wanted = (np.abs(np.hypot(x, y) - radius) < 1.9) & (late > 0.01) & (late < angle - 0.01)
    assert met[wanted].all()


def test_a_long_trail_is_even_but_for_its_ends():
    along = np.array([-3, 0, 10, 20, 23], np.float32)
    share = passing(along, np.full(5, 20.0), 1.0)
    np.testing.assert_allclose(share, [0.0013, 0.5, 1, 0.5, 0.0013], atol=2e-3)


def test_a_profile_is_learnt_from_samples():
    rng = np.random.default_rng(1)
    begun = Profiles.gaussian((300, 400), 0.8)
    lessons = Lessons(begun)
    across = rng.uniform(-4, 4, 20_000).astype(np.float32)
    part = rng.integers(0, 9, 20_000)
    true = np.exp(-0.5 * (across / 1.1) ** 2)
    lessons.add(part, across, true + rng.normal(0, 0.02, len(true)), np.ones(len(true)))
    lessons.count(np.repeat(np.arange(9), 6))
    learnt = lessons.profiles()
    at = np.linspace(-3, 3, 40).astype(np.float32)
    found = learnt.at(np.zeros(40, np.intp), at)
    # bins of a quarter pixel, smoothed once
    np.testing.assert_allclose(found, np.exp(-0.5 * (at / 1.1) ** 2), atol=0.03)


def test_profiles_stay_where_nothing_teaches_them():
    begun = Profiles.gaussian((300, 400), 0.8)
    assert Lessons(begun).profiles() is begun


@given(st.integers(1, 9), st.integers(0, 2**32 - 1))
def test_the_still_copy_is_the_middle(count, seed):
    rng = np.random.default_rng(seed)
    copies = [rng.integers(0, 256, (70, 9), np.uint8) for _ in range(count)]
    rank = (count - 1) // 2 if count >= 5 else 0
    wanted = np.sort(np.stack(copies), axis=0)[rank]
    np.testing.assert_array_equal(still_of(copies).codes, wanted)


def test_codes_are_the_root_of_the_light():
    light = np.full((70, 5, 3), 0.25, np.float32)
    light[3] = -0.1
    codes = root_codes(light, LUMINANCE)
    assert codes[0, 0] == 128
    assert codes[3, 0] == 0


def test_points_that_stand_still_are_taken_out():
    codes = np.full((60, 80), 30, np.uint8)
    codes[20, 30] = 120
    still = Still(codes, 1.0, 9)
    light = np.full((60, 80, 3), 0.014, np.float32)
    light[20, 30] = 0.3
    without = without_points(light.copy(), still, 1)
    np.testing.assert_allclose(without, 0.014, rtol=1e-6)
    assert len(Still(codes, 1.0, 2).points[0]) == 0


@given(st.integers(0, 2**32 - 1))
def test_the_nearest_on_a_grid_is_the_nearest(seed):
    rng = np.random.default_rng(seed)
    points, others = rng.uniform(-1, 101, (40, 2)), rng.uniform(-1, 101, (30, 2))
    star, found = nearest_on_grid(points, others, (100, 100), 2.0)
    distance = np.linalg.norm(points[:, None] - others[None], axis=2)
    for number, best in enumerate(star):
        near = distance[number].min()
        if best < 0:
            # two in a cell may hide one another
            assert near > 2.0 or (distance[number] < 6).sum() > 1
        else:
            assert found[number] == distance[number, best] <= 2.0


def test_stars_are_told_from_noise():
    rng = np.random.default_rng(2)
    turns = [turn_about(np.array([0, 0, 0.05 * number])) for number in range(8)]
    true = LENS.rays(LENS.centre + rng.uniform(-90, 90, (40, 2)))
    peaks = [
        np.concatenate([LENS.project(true @ turn.T), rng.uniform(0, 299, (15, 2))])
        for turn in turns
    ]
    strengths = [np.full(len(each), 4.0) for each in peaks]
    found = stars_of(peaks, strengths, turns, LENS)
    apart = np.linalg.norm(found[:, None] - true[None], axis=2).min(axis=1) * LENS.focal_px
    assert (apart < 1.0).sum() >= 38
    # chance makes three of noise meet once in some bursts
    assert (apart > 3).sum() <= 1
