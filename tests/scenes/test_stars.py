"""The sky turns about the pole at the right speed and in the right sense."""

from __future__ import annotations

import numpy as np
import pytest

from stacker.scenes.scene import View
from stacker.scenes.stars import Stars

HOUR_S = 3600.0


@pytest.fixture(scope="module")
def stars() -> Stars:
    return Stars(View(360, 240, seed=3, duration_s=HOUR_S))


def angle_about(pole: np.ndarray, ray: np.ndarray) -> np.ndarray:
    """Return the angle of rays (3, N) about the pole, against the clock as seen, in radians."""
    right = np.cross([0, 1.0, 0], pole)
    right /= np.linalg.norm(right)
    up = np.cross(right, pole)
    up = -up if up[1] > 0 else up
    return np.arctan2(up @ ray, right @ ray)


def rays(stars: Stars, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    centre = (stars.view.width - 1) / 2, (stars.view.height - 1) / 2
    ray = np.stack([x - centre[0], y - centre[1], np.full_like(x, stars.focal_px)])
    return ray / np.linalg.norm(ray, axis=0)


def test_stars_turn_15_041_arcsec_in_a_second_about_the_pole(stars: Stars) -> None:
    owner = np.flatnonzero((stars.polar_rad > 0.05) & (stars.polar_rad < 0.4))
    x0, y0 = stars.place(owner, np.zeros(owner.size))
    x1, y1 = stars.place(owner, np.full(owner.size, HOUR_S))
    pole = rays(stars, *(np.array([value]) for value in stars.pole_px))[:, 0]
    before, after = rays(stars, x0, y0), rays(stars, x1, y1)
    turned = np.mod(angle_about(pole, after) - angle_about(pole, before), 2 * np.pi)
    assert np.degrees(turned) == pytest.approx(15.041, abs=1e-6)
    # Each keeps its distance from the pole.
    assert pole @ before == pytest.approx(pole @ after, abs=1e-9)


def test_the_picture_shows_a_star_where_it_should_be(stars: Stars) -> None:
    """The brightest star well inside the sky, found in the picture at two times."""
    when = np.array([0.0, HOUR_S])
    for index in np.argsort(-stars.energy.sum(axis=1)):
        x, y = stars.place(np.full(2, index), when)
        inside = (x > 20) & (x < 340) & (y > 15) & (y < 120)
        if inside.all():
            break
    for t, px, py in zip(when, x, y, strict=True):
        # Ten seconds: the star moves by less than a tenth of a pixel.
        sky = stars.light(float(t), float(t) + 10)
        column, row = round(px), round(py)
        patch = sky[row - 2 : row + 3, column - 2 : column + 3].sum(axis=2)
        patch = patch - np.median(sky[row - 9 : row + 10, column - 9 : column + 10].sum(axis=2))
        grid_y, grid_x = np.mgrid[row - 2 : row + 3, column - 2 : column + 3]
        assert (patch * grid_x).sum() / patch.sum() == pytest.approx(px, abs=0.25)
        assert (patch * grid_y).sum() / patch.sum() == pytest.approx(py, abs=0.25)


def test_the_pole_stands_where_it_is_put() -> None:
    stars = Stars(View(200, 300, seed=1, duration_s=10), pole_at=(0.6, 0.3))
    owner = np.argsort(stars.polar_rad)[:1]
    stars.polar_rad[owner] = 0.0
    x, y = stars.place(np.repeat(owner, 2), np.array([0.0, 5000.0]))
    assert x == pytest.approx(120.0)
    assert y == pytest.approx(90.0)


def test_faint_stars_are_many_and_bright_ones_few(stars: Stars) -> None:
    magnitude = -2.5 * np.log10(stars.energy @ [0.2126, 0.7152, 0.0722])
    magnitude -= magnitude.min()
    faintest = magnitude.max()
    within = [np.sum(magnitude < faintest - step) for step in (0, 1, 2)]
    # Ten to the 0.51 times fewer for each magnitude, within the scatter of counting.
    assert within[0] / within[1] == pytest.approx(10**0.51, rel=0.15)
    assert within[1] / within[2] == pytest.approx(10**0.51, rel=0.25)


def test_the_ground_hides_the_sky_and_stays(stars: Stars) -> None:
    ground = stars.ground()
    assert ground.shape == (240, 360)
    assert ground.min() == 0
    assert ground.max() == 1
    early, late = stars.light(0.0, 10.0), stars.light(1800.0, 1810.0)
    changed = np.abs(early - late).max(axis=2)
    # stars are drawn behind all of it; the water's calm
    assert changed[ground == 1].max() < 1e-6
    assert changed[ground == 0].max() > 0.01


def test_a_mast_pines_and_roofs_stand_on_the_headland(stars: Stars) -> None:
    ground = stars.ground()
    first = np.argmax(ground > 0.3, axis=0)
    mast = round(0.765 * 360)
    # the mast reaches far above its neighbours on both sides
    assert first[mast] + 15 < first[mast - 5]
    assert first[mast] + 15 < first[mast + 5]
    # and pines are anything but a line: from column to column it leaps
    pines = first[round(0.79 * 360) : round(0.875 * 360)]
    assert np.abs(np.diff(pines)).mean() > 1
