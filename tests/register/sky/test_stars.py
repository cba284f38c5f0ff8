"""Stars are found where they are, and other things are told from them."""

import numpy as np
import pytest

from stacker.register.sky.stars import WORKING_PIXELS, find_peaks, find_stars, sky_factor
from tests.register.sky.fields import LUMINANCE, draw

SHAPE = (160, 200)
NOISE = 0.001


@pytest.fixture
def rng():
    return np.random.default_rng(5)


def scattered(rng, count=12):
    """Return places on a jittered grid, so that no two are neighbours."""
    x, y = np.meshgrid(np.arange(4), np.arange(3))
    grid = np.stack([x, y], -1).reshape(-1, 2)[:count] * [45, 45] + [30, 30]
    return grid + rng.uniform(-6, 6, grid.shape)


def noisy(light, rng):
    return (light + 0.02 + rng.normal(0, NOISE, light.shape)).astype(np.float32)


def paired(found, places):
    """Return how far each place is from the nearest star found."""
    return np.linalg.norm(places[:, None] - found.place[None], axis=2).min(axis=1)


@pytest.mark.parametrize("width_px", [1.2, 1.7, 2.5])
def test_places_are_good_to_a_hundredth_of_a_pixel(rng, width_px):
    places = scattered(rng)
    found = find_stars(noisy(draw(places, 1.0, width_px, SHAPE), rng), LUMINANCE)
    assert len(found) == len(places)
    # a star of this light has 100 to 300 times the noise: 0.005 px of noise, and up to 0.005 px
    # because pixels collect what the fit takes at their centres
    assert paired(found, places).max() < 0.02


def test_errors_say_how_far_off_faint_stars_are(rng):
    off, said = [], []
    for _ in range(12):
        places = scattered(rng)
        found = find_stars(noisy(draw(places, 0.03, 1.7, SHAPE), rng), LUMINANCE)
        near = np.linalg.norm(found.place[:, None] - places[None], axis=2).min(axis=1)
        off.append(near[near < 1])
        said.append(found.error_px[near < 1])
    rms = np.sqrt(np.mean(np.concatenate(off) ** 2) / 2)
    # 144 stars tell a standard deviation to 6 %; the rest is for the few fits that go astray
    assert rms == pytest.approx(np.sqrt(np.mean(np.concatenate(said) ** 2)), rel=0.3)
    assert 0.02 < rms < 0.2


def test_burnt_out_stars_keep_their_place(rng):
    places = scattered(rng)
    light = np.minimum(noisy(draw(places, 30.0, 2.5, SHAPE), rng), 1.0)
    found = find_stars(light, LUMINANCE)
    assert paired(found, places).max() < 0.05


def test_trailed_stars_are_held_by_their_middle(rng):
    places = scattered(rng)
    trail = np.linspace(-3, 3, 13)[:, None] * [0.8, 0.6]
    light = sum(draw(places + step, 2.0 / 13, 1.7, SHAPE) for step in trail)
    found = find_stars(noisy(light, rng), LUMINANCE)
    assert paired(found, places).max() < 0.1
    assert found.typical[0] > 1.5 * found.typical[1]


def test_lone_bright_pixels_are_no_stars(rng):
    light = noisy(np.zeros((*SHAPE, 3)), rng)
    x, y = scattered(rng).astype(int).T
    light[y, x] += 0.3
    assert len(find_stars(light, LUMINANCE)) == 0


def test_an_empty_sky_has_no_stars(rng):
    # 32000 pixels at five standard deviations: one false star in a hundred frames
    assert len(find_stars(noisy(np.zeros((*SHAPE, 3)), rng), LUMINANCE)) == 0


def test_the_frame_is_not_changed(rng):
    light = noisy(draw(scattered(rng), 1.0, 1.7, SHAPE), rng)
    before = light.copy()
    find_stars(light, LUMINANCE)
    np.testing.assert_array_equal(light, before)


def test_large_frames_are_reduced():
    assert sky_factor((3000, 2000)) == 1
    assert sky_factor((6000, 4000)) == 2
    assert WORKING_PIXELS >= (9504 // 3) * (6336 // 3)
    assert sky_factor((9504, 6336)) == 3


def test_peaks_tell_where_faint_points_are():
    rng = np.random.default_rng(4)
    places = rng.uniform(12, [268, 188], (25, 2))
    light = draw(places, 0.06, 2.0, (200, 280)) + np.float32(0.01)
    light += rng.normal(0, 0.001, light.shape).astype(np.float32)
    found, strength = find_peaks(light, LUMINANCE, 0.9, threshold=5.0, most=100)
    apart = np.linalg.norm(places[:, None] - found[None], axis=2).min(axis=1)
    # one of two near each other may be missed; a parabola through three pixels errs by a tenth
    assert (apart < 0.3).mean() > 0.9
    assert (strength > 5).all()
    assert len(found) <= 27
