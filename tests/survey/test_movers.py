"""What moves, against masks that are known."""

import numpy as np
import pytest

from stacker.scenes.render import BurstPlan
from stacker.scenes.stage import build_scene
from stacker.survey.held import roots_of
from stacker.survey.movers import LEAST_SEEN, chosen_frames, find_movers

WEIGHTS = np.array([0.2126, 0.7152, 0.0722], np.float32)


def still(rng, count, shape=(60, 90), noise=0.003):
    texture = np.repeat(np.repeat(rng.uniform(0.2, 0.7, (6, 9)), 10, axis=0), 10, axis=1)
    return (texture + rng.normal(size=(count, *shape)) * noise).astype(np.float32)


def test_nothing_moves_in_noise():
    movers = find_movers(still(np.random.default_rng(1), 20), 2.0, resampled=False)
    # specks of four pixels beyond 4.5 sigma are rarer than one in a million
    assert movers.touched < 1e-3
    assert movers.box is None
    assert movers.noise == pytest.approx(0.003, rel=0.3)


def test_a_square_that_wanders_is_found_where_it_was():
    rng = np.random.default_rng(2)
    roots = still(rng, 30)
    for number, root in enumerate(roots):
        root[20:30, 3 * number : 3 * number + 10] = 0.95
    movers = find_movers(roots, 2.0, resampled=False)
    # 97 of 90 columns' places are passed: all ten rows, and all columns but none
    assert movers.touched == pytest.approx(10 * 90 / 5400, abs=0.01)
    assert movers.never_empty == 0
    assert movers.vanishing == pytest.approx(movers.touched)


def test_a_spot_that_is_taken_most_of_the_time_is_never_empty():
    rng = np.random.default_rng(3)
    roots = still(rng, 30)
    for number, root in enumerate(roots):
        if number % 5 >= 2:
            root[40:50, 60:75] = rng.uniform(0.75, 1.0, (10, 15))
    movers = find_movers(roots, 2.0, resampled=False)
    assert movers.never_empty == pytest.approx(150 / 5400, abs=0.003)
    x, y, width, height = movers.box
    assert (x, y, width, height) == pytest.approx((120, 80, 30, 20), abs=4)


def test_the_share_that_moves_on_the_quay_is_known_within_three_hundredths():
    plan = BurstPlan("quay", 16, (320, 208), 3, 1 / 30, 2.0, 0.0, "jpg")
    scene = build_scene("quay", plan.view())
    empty = np.sqrt(scene.empty() @ WEIGHTS)
    rng = np.random.default_rng(4)
    roots, truth = [], []
    for number in range(plan.frames):
        light = scene.light(plan.start_s(number), plan.start_s(number) + plan.shutter_s)
        truth.append((np.abs(np.sqrt(light @ WEIGHTS) - empty) > LEAST_SEEN).mean())
        roots.append(np.sqrt(np.clip(scene.camera.expose(light, rng), 0, 1) @ WEIGHTS))
    movers = find_movers(np.stack(roots).astype(np.float32), 3.0, resampled=False)
    assert np.mean(truth) > 0.02
    assert movers.moving == pytest.approx(np.mean(truth), abs=0.03)
    assert movers.moving == pytest.approx(np.mean(truth), rel=0.3)


def test_four_frames_tell_nothing():
    assert find_movers(still(np.random.default_rng(1), 4), 1.0, resampled=False) is None


def test_burnt_out_sky_does_not_move_when_the_exposure_drifts():
    light = np.ones((40, 60, 3), np.float32)
    light[20:] = 0.25
    stops = np.array([0.0, 0.1])
    frames = [light, np.minimum(light * np.float32(2**0.1), 1)]
    roots, _ = roots_of(frames.__getitem__, [0, 1], stops, 60)
    assert np.array_equal(roots[0, :20], roots[1, :20])
    # below white the drift is taken out
    assert roots[1, 20:] == pytest.approx(0.5, abs=1e-6)


def test_frames_are_chosen_evenly():
    assert chosen_frames(list(range(10)), 5) == [0, 2, 4, 6, 8]
    assert chosen_frames([3, 4], 5) == [3, 4]
