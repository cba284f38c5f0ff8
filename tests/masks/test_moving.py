"""What moves, in frames whose motion is known."""

import numpy as np

from stacker.masks import Roots, moving_share, root_codes

WEIGHTS = (0.2126, 0.7152, 0.0722)


def share_of(frames):
    return moving_share(Roots(np.stack([root_codes(frame) for frame in frames]), WEIGHTS))


def noisy(light, rng):
    return (light + rng.normal(0, 1, light.shape) * np.sqrt(light / 6000)).astype(np.float32)


def test_water_moves_and_the_shore_does_not():
    rng = np.random.default_rng(1)
    shore = np.repeat(rng.uniform(0.05, 0.6, (120, 160, 1)), 3, 2)
    frames = []
    for _ in range(10):
        light = shore.copy()
        light[60:, 40:] = np.repeat(rng.uniform(0.1, 0.5, (60, 120, 1)), 3, 2)
        frames.append(noisy(light, rng))
    share = share_of(frames)
    assert share[66:-4, 46:-4].min() > 0.95
    # five pixels beside it the border is soft
    assert share[:54].max() < 0.05
    assert share[:, :34].max() < 0.05


def test_noise_is_no_motion_at_any_level_of_light():
    rng = np.random.default_rng(2)
    ramp = np.repeat(np.linspace(0.002, 0.8, 200)[None, :, None], 150, 0).repeat(3, 2)
    share = share_of([noisy(ramp, rng) for _ in range(8)])
    assert share.max() < 0.05


def test_the_share_lies_between_none_and_all():
    rng = np.random.default_rng(3)
    share = share_of([rng.uniform(0, 1, (40, 50, 3)).astype(np.float32) for _ in range(6)])
    assert share.dtype == np.float32
    assert share.min() >= 0
    assert share.max() <= 1
