"""Sky and ground from simulated nights and evenings, against the truth."""

import numpy as np
import pytest

from stacker.light.srgb import srgb_to_linear
from stacker.masks import Roots, find_sky, root_codes
from stacker.scenes.camera import to_bytes
from stacker.scenes.scene import View
from stacker.scenes.stars import Stars

WEIGHTS = (0.2126, 0.7152, 0.0722)
SIZE, FRAMES = (420, 280), 9
LIGHT = srgb_to_linear(np.arange(256) / 255).astype(np.float32)


def roots_of(frames):
    return Roots(np.stack([root_codes(frame) for frame in frames]), WEIGHTS)


def iou(one, other):
    return (one & other).sum() / (one | other).sum()


@pytest.fixture(scope="module", params=[1, 2, 3])
def night(request):
    """Frames of the stars as their codes give them, and the cover of the ground."""
    scene = Stars(View(*SIZE, seed=request.param, duration_s=FRAMES * 126.0))
    rng = np.random.default_rng(request.param)
    frames = []
    for number in range(FRAMES):
        seen = scene.camera.through_lens(scene.light(number * 126.0, number * 126.0 + 120.0))
        frames.append(LIGHT[to_bytes(scene.camera.expose(seen, rng))])
    return frames, scene.ground() > 0.5


def test_a_skyline_with_trees_roofs_and_a_mast(night):
    frames, ground = night
    found = find_sky(roots_of(frames))
    assert found.by == "its stars"
    # a picture this small: a row along it is 2 % of the ground. The benchmark of subjects has
    # larger ones
    assert iou(found.ground, ground) > 0.94
    assert iou(~found.ground, ~ground) > 0.98


def test_what_stands_before_the_sky_is_ground(night):
    """The lighthouse, which no straight line would know."""
    frames, ground = night
    found = find_sky(roots_of(frames)).ground
    tower = np.zeros_like(ground)
    tower[174:238, 230:246] = True
    assert (found & tower & ground).sum() > 0.8 * (tower & ground).sum() > 0


def test_nothing_is_said_of_a_night_whose_ground_passes_too(night):
    """Turned upside down: stars below and land above is no landscape."""
    frames, _ = night
    assert find_sky(roots_of([frame[::-1] for frame in frames])).ground is None


def evening(fading, lamps=1.0):
    """Return frames of a sky that fades by so many stops over the burst above a lit street."""
    rng = np.random.default_rng(3)
    height, width = 200, 300
    y, x = np.mgrid[0:height, 0:width]
    ridge = 120 + 8 * np.sin(x / 23.0) - 25 * ((x > 60) & (x < 64)) - 12 * (np.abs(x - 130) < 9)
    ground = y >= ridge
    texture = rng.uniform(0.02, 0.12, (height, width)).astype(np.float32) * lamps
    frames = []
    for number in range(9):
        sky = 0.3 * 2.0 ** (-fading * number / 8) * (0.6 + 0.4 * y / height)
        light = np.where(ground, texture, sky)[..., None] * np.array([0.9, 1.0, 1.2])
        noise = rng.normal(0, 1, light.shape) * np.sqrt(light / 8000)
        frames.append((light + noise).astype(np.float32))
    return frames, ground


def test_a_sky_that_fades_above_lamps_that_stay():
    frames, ground = evening(1.5)
    found = find_sky(roots_of(frames))
    assert found.by == "its light"
    assert iou(found.ground, ground) > 0.98
    assert iou(~found.ground, ~ground) > 0.98


def test_nothing_is_said_where_nothing_changes():
    found = find_sky(roots_of(evening(0.0)[0]))
    assert found.ground is None
    assert "changes" in found.why


@pytest.mark.parametrize("count", [1, 4])
def test_few_frames_tell_nothing(count):
    found = find_sky(roots_of(evening(1.5)[0][:count]))
    assert found.ground is None
    assert "too few" in found.why


def test_noise_and_stars_alone_have_no_ground():
    rng = np.random.default_rng(0)
    noise = [rng.gamma(4, 0.005, (220, 240, 3)).astype(np.float32) for _ in range(9)]
    assert find_sky(roots_of(noise)).ground is None
    black = [np.zeros((220, 240, 3), np.float32)] * 9
    assert find_sky(roots_of(black)).ground is None
