"""The glow of the sky comes out of a picture, and nothing else does."""

from dataclasses import replace

import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine.glow import without_glow
from stacker.light.srgb import linear_to_srgb

HEIGHT, WIDTH = 160, 240


@pytest.fixture
def night(tmp_path):
    """Four frames of a sky twice as bright at the left as at the right, with stars."""
    rng = np.random.default_rng(3)
    sky = np.linspace(0.08, 0.04, WIDTH)[None, :, None] * np.array([1.0, 0.9, 0.8])
    sky = np.broadcast_to(sky, (HEIGHT, WIDTH, 3)).copy()
    stars = rng.integers((0, 0), (HEIGHT, WIDTH), (80, 2))
    sky[stars[:, 0], stars[:, 1]] += 0.3
    for number in range(4):
        light = sky + rng.normal(0, 0.001, sky.shape)
        codes = np.rint(65535 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint16)
        tifffile.imwrite(tmp_path / f"KP_{number + 1}.tif", codes, photometric="rgb")
    return stacker.open_burst(tmp_path, interval_s=2.0, frame_shutter_s=1.0), stars


def test_the_sky_is_even_and_stars_stay(night):
    burst, stars = night
    plain = stacker.expose(burst, hold="still").light
    shot = stacker.expose(burst, hold="still", glow="out")
    columns = np.median(shot.light, axis=0)
    # noise of a median of 160 rows of four frames: 5e-5; of the gradient of 0.04 next to nothing
    assert np.ptp(columns[:, 0]) < 0.001
    assert columns[:, 0].mean() == pytest.approx(0.042, abs=0.001)
    y, x = stars.T
    above = shot.light[y, x] - columns[x]
    assert np.allclose(above, plain[y, x] - np.median(plain, axis=0)[x], atol=0.002)
    assert any("glow is taken out" in words for words in shot.report["warnings"])


def test_the_ground_keeps_its_light(night, tmp_path):
    burst, _ = night
    plain = stacker.expose(burst, hold="still").light
    shot = stacker.expose(burst, hold="still", glow="out")
    ground = np.zeros((HEIGHT, WIDTH), np.uint16)
    ground[120:] = 65535
    held = without_glow(replace(shot, glow=None, masks={"ground": ground}))
    # the mask reaches four pixels over the skyline, and its softness a few more
    assert np.array_equal(held.light[130:], plain[130:])
    # of a gradient of 0.04 the darkest twentieth stays beside a ground
    assert np.ptp(np.median(held.light[:120, :, 0], axis=0)) < 0.0025


def test_dark_ground_at_the_skyline_gets_no_darker(night):
    burst, _ = night
    shot = stacker.expose(burst, hold="still")
    ground = np.zeros((HEIGHT, WIDTH), np.uint16)
    ground[120:] = 65535
    dark = shot.light.copy()
    dark[120:] = 0.01
    shot = replace(shot, pieces=[dark], masks={"ground": ground})
    assert np.array_equal(without_glow(shot).light[120:], dark[120:])


def test_a_saved_picture_has_no_glow_either(night, tmp_path):
    burst, _ = night
    shot = stacker.expose(burst, hold="still", glow="out")
    target = tmp_path / "out" / "sky.tif"
    target.parent.mkdir()
    stacker.save(shot, target, depth=32)
    assert np.allclose(tifffile.imread(target), np.maximum(shot.light, 0), atol=1e-6)
