"""The fine fit finds small motions, whatever the light does, and knows how sure it is."""

import cv2
import numpy as np
import pytest

from stacker.register.geometry import identity, rms_difference, translation
from stacker.register.scene.agreement import agreement
from stacker.register.scene.grey import doubled_level, grey_of, noise_of, working_factor
from stacker.register.scene.mesh import local_correction
from stacker.register.scene.pair import estimate, prepare
from tests.register.scene.frames import burst_of


def shifted(light: np.ndarray, dx: float, dy: float) -> np.ndarray:
    """Return light shifted by whole and tenth pixels through a fine copy."""
    fine = cv2.resize(light, None, fx=10, fy=10, interpolation=cv2.INTER_CUBIC)
    moved = np.roll(fine, (round(10 * dy), round(10 * dx)), axis=(0, 1))
    return cv2.resize(moved, light.shape[1::-1], interpolation=cv2.INTER_AREA)


def fit_of(one: np.ndarray, other: np.ndarray):
    """Return the estimate of ``other`` against ``one``."""
    return estimate(prepare(grey_of(one)), grey_of(other), [], None)


@pytest.mark.parametrize(("dx", "dy"), [(0.3, -0.2), (4.5, 2.1), (-17.0, 8.6)])
def test_a_pure_shift_is_found(dx, dy):
    light = shifted(burst_of("day").frames[0], 0, 0)
    found = fit_of(light, shifted(light, dx, dy))
    # linear interpolation between doubled pixels moves the finest waves by thousandths
    inner = [(x, y) for x in (100, 380) for y in (80, 240)]
    assert rms_difference(found.to_frame, translation(dx, dy), inner) < 0.02


def test_exposure_and_colour_do_not_move_anything():
    light = burst_of("day").frames[0] * 0.5
    for gain in ((2.0, 1.7, 2.3), (0.5, 0.6, 0.45)):
        found = fit_of(light, light * np.array(gain, np.float32))
        inner = [(x, y) for x in (100, 380) for y in (80, 240)]
        # nothing moved, but a change of colour changes what the luminance shows
        assert rms_difference(found.to_frame, identity(), inner) < 0.01


def test_burnt_out_lamps_are_not_asked():
    """Lamps that burn out and move along do not take the ground with them."""
    light = burst_of("day").frames[0].copy()
    other = light.copy()
    for x, y in ((60, 60), (200, 100), (300, 200), (420, 250)):
        cv2.circle(light, (x, y), 14, (1.0, 1.0, 1.0), -1)
        cv2.circle(other, (x + 3, y), 14, (1.0, 1.0, 1.0), -1)
    found = fit_of(light, other)
    inner = [(x, y) for x in (100, 380) for y in (80, 240)]
    assert rms_difference(found.to_frame, identity(), inner) < 0.02


def test_the_error_that_is_expected_is_the_one_that_is_made():
    """Within a factor of two, by day and by night: verdicts and stillness rest on it."""
    for name in ("day", "night"):
        burst = burst_of(name)
        reference = prepare(grey_of(burst.frames[0]))
        made, expected = [], []
        for frame, truth in zip(burst.frames[1:], burst.to_reference[1:], strict=True):
            found = estimate(reference, grey_of(frame), [], None)
            points = [(x, y) for x in range(40, 480, 80) for y in range(40, 320, 60)]
            made.append(rms_difference(found.to_frame, np.linalg.inv(truth), points))
            expected.append(reference.geometry.rms_error(found.fit.information))
        ratio = np.median(made) / np.median(expected)
        assert 0.4 < ratio < 2.0, name


def test_agreement_tells_right_from_wrong():
    light = burst_of("day").frames[0]
    reference = prepare(grey_of(light))
    tiles = reference.tiles[reference.coarsest]
    assert agreement(tiles, reference.grey, identity()).share > 0.95
    assert agreement(tiles, reference.grey, translation(37, 22)).share < reference.least_agreement
    nowhere = agreement(tiles, reference.grey, translation(2000, 0))
    assert nowhere.share == 0
    assert nowhere.overlap == 0


def test_a_planar_scene_gets_no_mesh_and_a_bent_one_does():
    light = shifted(burst_of("day").frames[0], 0, 0)
    y, x = np.mgrid[:320, :480].astype(np.float32)
    wave = 0.8 * np.sin(2 * np.pi * y / 320)
    bent = cv2.remap(light, x + wave, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    reference = prepare(grey_of(light))
    for frame, expected in ((shifted(light, 0.4, 0.3), False), (bent, True)):
        grey = grey_of(frame)
        found = estimate(reference, grey, [], None)
        tiles = reference.tiles[0]
        local = local_correction(reference.grey, tiles, grey, found.fit, grey.size)
        assert (local is not None) == expected


def test_doubling_lies_between_the_pixels():
    x = np.arange(64, dtype=np.float32)
    level = np.tile(np.sin(x / 3), (40, 1))
    doubled = doubled_level(level)
    wanted = np.tile(np.sin(np.arange(128) / 6), (80, 1))
    # eight taps of Lagrange on waves of 19 pixels
    np.testing.assert_allclose(doubled[10:-10, 10:-10], wanted[10:-10, 10:-10], atol=1e-4)


def test_noise_is_measured_beside_texture():
    rng = np.random.default_rng(1)
    y, x = np.mgrid[:400, :600]
    texture = np.where((x // 40 + y // 40) % 2, 0.3, 0.6) + 0.05 * np.sin(x / 9)
    noisy = (texture + 0.01 * rng.standard_normal(texture.shape)).astype(np.float32)
    assert noise_of(noisy) == pytest.approx(0.01, rel=0.1)


def test_the_working_copy_is_small_enough():
    assert working_factor((1500, 1000)) == 1
    assert working_factor((6000, 4000)) == 4
    assert working_factor((1920, 1080)) == 2
