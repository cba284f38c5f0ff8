"""Light under a moving lens: known lengths, known brightness, nothing lost."""

import cv2
import numpy as np
import pytest

from stacker.light.lens_blur import disc_kernel
from stacker.light.lens_move import moved_channel
from stacker.light.lens_path import LensPath

SIZE = (401, 301)
CENTRE = (200.0, 150.0)


def point(x, y, energy=1000.0):
    """Return a point as a lens draws it: a Gaussian of 1.2 px, that a cubic keeps."""
    light = np.zeros(SIZE[::-1], np.float32)
    light[y, x] = energy
    return cv2.GaussianBlur(light, (0, 0), 1.2)


@pytest.mark.parametrize(
    "path",
    [
        LensPath(zoom=1.4, centre=CENTRE),
        LensPath(zoom=0.7, turn_deg=10, drift_px=(30, -12), centre=CENTRE),
        LensPath(turn_deg=-25, centre=(10, 20)),
        LensPath(focus_px=(0, 12)),
        LensPath(zoom=1.2, focus_px=(2, 9), centre=CENTRE, halts=3, rest=0.2),
    ],
    ids=["zoom", "all at once, outwards", "turn", "focus", "zoom, focus, halts"],
)
def test_an_even_picture_stays_as_it_is(path):
    light = np.full((90, 120), 0.3, np.float32)
    # ten resamplings of float32
    np.testing.assert_allclose(moved_channel(light, path, 0, 1), light, rtol=2e-5)


# OpenCV places samples to 1/32 px: where two halves of a path meet, a point of 2.8 px gets so much
# more or less light
PLACED = 0.025


def test_a_drift_makes_a_line_of_known_length_and_brightness():
    light = moved_channel(point(150, 150), LensPath(drift_px=(120, 0)), 0, 1)
    assert light.sum() == pytest.approx(1000, rel=1e-4)
    across = light.sum(axis=0)
    # even along the line: no step shows
    inner = across[158:263]
    np.testing.assert_allclose(inner, 1000 / 120, rtol=PLACED)
    ends = np.flatnonzero(across > 0.5 * 1000 / 120)
    assert abs(ends[0] - 150) <= 1 and abs(ends[-1] - 270) <= 1
    # the overshoot of a cubic
    assert light.min() > -0.01 * light.max()


def test_a_turn_makes_an_arc_of_known_length_and_brightness():
    radius, degrees = 100, 50
    path = LensPath(turn_deg=degrees, centre=CENTRE)
    light = moved_channel(point(300, 150), path, 0, 1)
    y, x = np.mgrid[: SIZE[1], : SIZE[0]] - np.array(CENTRE[::-1])[:, None, None]
    angle, far = np.degrees(np.arctan2(y, x)), np.hypot(x, y)
    # clockwise on the screen, where y goes down; by 5 degrees, 8.7 px
    own = far < 115
    light_by, _ = np.histogram(angle[own], np.arange(-5, 61, 5), weights=light[own])
    # pixels are counted whole: some 2 % of the light of a part lies on its edges
    np.testing.assert_allclose(light_by[2:10], 5 * 1000 / degrees, rtol=0.04)
    assert light_by[2:10].sum() == pytest.approx(40 * 1000 / degrees, rel=0.005)
    assert light_by[0] + light_by[1] == pytest.approx(light_by[10] + light_by[11], rel=0.1)
    assert far[light > 0.3 * light.max()].min() > radius - 3
    assert far[light > 0.3 * light.max()].max() < radius + 3


def test_a_zoom_makes_rays_that_end_where_it_says():
    light = moved_channel(point(260, 150), LensPath(zoom=1.5, centre=CENTRE), 0, 1)
    row = light.sum(axis=0)
    lit = np.flatnonzero(row > 0.3 * row.max())
    assert abs(lit[0] - 260) <= 1 and abs(lit[-1] - 290) <= 2
    # the centre stays where it is
    still = moved_channel(point(200, 150), LensPath(zoom=1.5, centre=CENTRE), 0, 1)
    assert np.unravel_index(still.argmax(), still.shape) == (150, 200)


def test_halts_make_copies_and_rest_keeps_the_first():
    path = LensPath(drift_px=(90, 0), halts=4)
    row = moved_channel(point(100, 150), path, 0, 1).max(axis=0)
    peaks = [x for x in range(90, 210) if row[x] == row[x - 8 : x + 9].max() and row[x] > 1]
    assert peaks == [100, 130, 160, 190]
    rested = moved_channel(point(100, 150), LensPath(drift_px=(90, 0), rest=0.6), 0, 1)
    assert rested[150, 100] == pytest.approx(0.6 * point(100, 150).max(), rel=0.1)


def test_a_pulled_focus_makes_discs_with_a_flat_top():
    kernel = disc_kernel(20, 20)
    assert kernel.sum() == pytest.approx(1, rel=1e-5)
    middle = kernel.shape[0] // 2
    y, x = np.mgrid[: kernel.shape[0], : kernel.shape[0]] - middle
    far = np.hypot(x, y)
    np.testing.assert_allclose(kernel[far < 19], 1 / (np.pi * 400), rtol=2e-3)
    assert kernel[far > 21].max() == 0
    light = moved_channel(point(200, 150), LensPath(focus_px=(20, 20)), 0, 1)
    assert light[150, 200] == pytest.approx(1000 / (np.pi * 400), rel=0.01)
    assert light[150, 210] == pytest.approx(light[150, 200], rel=0.01)
    assert light[150, 224] < 0.02 * light[150, 200]
    assert light.sum() == pytest.approx(1000, rel=1e-4)


def test_a_focus_that_comes_from_sharp_is_the_mean_of_its_discs():
    several = np.mean([_fit(disc_kernel(r, r), 12) for r in np.linspace(0, 10, 41)[1:]], axis=0)
    one = _fit(disc_kernel(0, 10), 12)
    # the means of 40 and of 64 discs differ most at the sharp end
    outer = np.hypot(*(np.mgrid[:25, :25] - 12)) > 3
    assert np.abs(one - several)[outer].max() < 2e-4


def _fit(kernel, reach):
    pad = reach - kernel.shape[0] // 2
    return np.pad(kernel, pad)


@pytest.mark.parametrize("path", [
    LensPath(zoom=1.3, turn_deg=8, drift_px=(20, 10), centre=CENTRE),
    LensPath(zoom=0.8, drift_px=(-15, 4), centre=(50, 60)),
])  # fmt: skip
def test_doubling_is_the_mean_over_the_path(path):
    rng = np.random.default_rng(4)
    light = cv2.GaussianBlur(rng.random((301, 401), np.float32), (0, 0), 2)
    wide = cv2.copyMakeBorder(light, 200, 200, 200, 200, cv2.BORDER_REFLECT_101)
    total = np.zeros_like(light)
    count = 400
    for k in range(count):
        matrix = path.matrix((k + 0.5) / count)
        matrix[:, 2] += 200 - matrix[:, :2] @ [200, 200]
        total += cv2.warpAffine(wide, matrix, (801, 701), flags=cv2.INTER_CUBIC)[200:501, 200:601]
    found = moved_channel(light, path, 0, 1)
    # samples lie to 1/32 px in each of ten resamplings, 0.15 px at worst, on slopes of 0.04 a px
    assert np.abs(found - total / count).max() < 0.01
    assert np.abs(found - total / count).mean() < 0.001


def test_parts_of_a_path_add_up_to_the_whole():
    path = LensPath(zoom=1.2, turn_deg=5, centre=CENTRE, halts=3, rest=0.1)
    light = point(260, 120)
    parts = np.mean([moved_channel(light, path, k / 4, (k + 1) / 4) for k in range(4)], axis=0)
    whole = moved_channel(light, path, 0, 1)
    assert np.abs(parts - whole).max() < 0.01 * whole.max()


def test_the_way_is_steady():
    path = LensPath(zoom=1.7, turn_deg=30, drift_px=(12, -5), centre=(3, 4))
    half, whole = (np.vstack([path.matrix(share), [0, 0, 1]]) for share in (0.5, 1))
    np.testing.assert_allclose(half @ half, whole, atol=1e-9)
    assert path.matrix(0).tolist() == [[1, 0, 0], [0, 1, 0]]
