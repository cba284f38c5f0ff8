"""Warping moves light where the motion says, keeps its contrast and makes no rings."""

import numpy as np
import pytest

from stacker.register.geometry import identity, translation
from stacker.register.local import LocalCorrection, bilinear
from stacker.register.warp import BAND_ROWS, Warp, warp_light
from tests.same_light import assert_same_light


def turned(degrees: float, dx: float = 0.0, dy: float = 0.0, scale: float = 1.0) -> np.ndarray:
    """Return a turn about the first pixel, a change of scale and a shift."""
    a = np.deg2rad(degrees)
    c, s = scale * np.cos(a), scale * np.sin(a)
    return np.array([[c, -s, dx], [s, c, dy], [0, 0, 1.0]])


def soft_light(height: int, width: int, motion: np.ndarray) -> np.ndarray:
    """Return waves of 12 px and longer as a frame moved by ``motion`` sees them."""
    y, x = np.mgrid[:height, :width].astype(np.float64)
    place = motion @ np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    x, y = (place[:2] / place[2]).reshape(2, height, width)
    wave = 0.5 + 0.2 * np.sin(x / 2.0) + 0.2 * np.cos(y / 3.0 + x / 7.0)
    return np.repeat(wave[..., None], 3, axis=2).astype(np.float32)


@pytest.mark.parametrize(
    "motion",
    [
        translation(3.3, -2.7),
        turned(1.5, 4.2, -3.1),
        turned(0.4, 2, 1) + np.array([[0, 0, 0], [0, 0, 0], [2e-5, -1e-5, 0]]),
    ],
    ids=["shift", "turn", "homography"],
)
def test_light_goes_where_the_motion_says(motion):
    frame = soft_light(150, 200, motion)
    warped = warp_light(frame, motion)
    valid = Warp(motion, (200, 150)).valid(0, 150)
    valid[:4] = valid[-4:] = valid[:, :4] = valid[:, -4:] = False
    error = (warped - soft_light(150, 200, identity()))[valid]
    # a cubic with a = -0.75 does not reproduce ramps: some hundredths of a pixel, times the slope
    assert np.abs(error).max() < 0.015
    assert np.sqrt(np.mean(error**2)) < 0.004


def test_identity_hands_the_frame_back():
    frame = soft_light(70, 90, identity())
    assert warp_light(frame, identity()) is frame


@pytest.mark.parametrize(("dx", "dy"), [(3, 0), (0, -70), (-5, 66), (200, 0)])
def test_whole_shifts_copy_pixels(dx, dy):
    frame = np.random.default_rng(1).random((150, 40, 3), dtype=np.float32)
    wanted = np.zeros_like(frame)
    ys, xs = np.mgrid[:150, :40]
    inside = (ys - dy >= 0) & (ys - dy < 150) & (xs - dx >= 0) & (xs - dx < 40)
    wanted[inside] = frame[(ys - dy)[inside], (xs - dx)[inside]]
    assert_same_light(warp_light(frame, translation(dx, dy)), wanted)
    np.testing.assert_array_equal(Warp(translation(dx, dy), (40, 150)).valid(0, 150), inside)


def test_valid_is_where_the_frame_lies():
    motion = turned(3.0, 20.25, -11.5) + np.array([[0, 0, 0], [0, 0, 0], [1e-4, -5e-5, 0]])
    warp = Warp(motion, (90, 130))
    ys, xs = np.mgrid[:130, :90]
    place = warp.to_frame @ np.stack([xs.ravel(), ys.ravel(), np.ones(xs.size)])
    x, y = (place[:2] / place[2]).reshape(2, 130, 90)
    wanted = (x >= 0) & (x <= 89) & (y >= 0) & (y <= 129)
    np.testing.assert_array_equal(warp.valid(0, 130), wanted)
    assert not warp.covers_all
    assert Warp(identity(), (90, 130)).covers_all
    assert (warp_light(np.ones((130, 90, 3), np.float32), motion)[~wanted] == 0).all()


def test_bands_make_up_the_whole():
    """A picture of a band more has the same rows: nothing depends on what lies far away."""
    frame = np.random.default_rng(2).random((4 * BAND_ROWS, 80, 3), dtype=np.float32)
    motion = turned(0.5, 1.3, -2.6)
    warp = Warp(motion, (80, len(frame)))
    whole = warp_light(frame, motion)
    band = warp.resample(lambda y, x: frame[y, x], BAND_ROWS, 2 * BAND_ROWS)
    assert_same_light(band, whole[BAND_ROWS : 2 * BAND_ROWS])


@pytest.mark.parametrize(
    ("cycles_per_px", "least", "most"),
    # half of Nyquist and three quarters of it; more than 3 % too much would look sharpened
    [(0.125, 0.97, 1.03), (0.25, 0.97, 1.03), (0.375, 0.88, 1.03)],
)
def test_an_average_of_shifted_frames_keeps_its_contrast(cycles_per_px, least, most):
    rng = np.random.default_rng(3)
    x = np.arange(128)
    total = np.zeros((32, 128))
    phase = 2 * np.pi * cycles_per_px
    for dx, dy in rng.uniform(-3, 3, (16, 2)):
        row = 0.5 + 0.25 * np.cos(phase * (x + dx))
        frame = np.repeat(np.tile(row, (32, 1))[..., None], 3, axis=2).astype(np.float32)
        total += warp_light(frame, translation(dx, dy))[..., 0]
    inner = total[10:-10, 16:112] / 16
    wave = np.exp(-1j * phase * x[16:112])
    contrast = 2 * np.abs(np.mean((inner - 0.5) * wave, axis=1)) / 0.25
    # 16 random places do not cover a pixel evenly: 2 % to either side
    assert least - 0.005 <= contrast.mean() <= most + 0.02


@pytest.mark.parametrize("shift", [0.25, 0.5, 0.77])
def test_lamps_get_no_dark_rings(shift):
    sky = 0.01
    frame = np.full((64, 200, 3), sky, np.float32)
    frame[30:34, 60:64] = 1.0
    frame[20, 150] = 1.0
    warped = warp_light(frame, translation(shift, shift / 2))
    inner = warped[4:-4, 4:-4]
    # half of the linear interpolation, which is never below the sky
    assert inner.min() >= 0.5 * sky * (1 - 1e-6)
    assert inner.max() < 1.35


def test_light_is_never_negative():
    rng = np.random.default_rng(4)
    frame = (rng.random((128, 300, 3)) > 0.8).astype(np.float32) * rng.random((128, 1, 1))
    assert warp_light(frame.astype(np.float32), turned(1, 0.4, 0.3)).min() >= 0


def test_shrinking_leaves_no_moire():
    """A chequerboard at half the size is even grey."""
    y, x = np.mgrid[:128, :128]
    board = np.repeat(((x + y) % 2).astype(np.float32)[..., None], 3, axis=2)
    small = warp_light(board, turned(0, 0.2, 0.3, scale=0.5))[4:60, 4:60]
    assert np.abs(small - 0.5).max() < 0.1


def test_a_frame_that_looked_elsewhere_is_black():
    frame = np.ones((80, 60, 3), np.float32)
    motion = translation(500.5, -300.25)
    assert not warp_light(frame, motion).any()
    assert not Warp(motion, (60, 80)).valid(0, 80).any()


def test_frames_are_not_changed():
    frame = np.random.default_rng(5).random((80, 60, 3), dtype=np.float32)
    before = frame.copy()
    warp_light(frame, turned(1, 2.5, 1))
    assert_same_light(frame, before)


def test_a_local_correction_moves_light_by_its_shifts():
    """A frame moved by a motion and a bend comes back to where it was."""
    motion = turned(0.8, 3.2, -2.1)
    x, y = np.linspace(0, 199, 5), np.linspace(0, 149, 4)
    rng = np.random.default_rng(6)
    local = LocalCorrection(x, y, *rng.uniform(-1, 1, (2, 4, 5)))
    # the frame shows at p what the reference shows at q + shift(q), q being the motion's place
    ys, xs = np.mgrid[:150, :200].astype(float)
    place = motion @ np.stack([xs.ravel(), ys.ravel(), np.ones(xs.size)])
    qx, qy = place[:2] / place[2]
    across, down = bilinear(x, qx), bilinear(y, qy)
    qx = qx + np.einsum("ny,yx,nx->n", down, local.dx, across)
    qy = qy + np.einsum("ny,yx,nx->n", down, local.dy, across)
    wave = 0.5 + 0.2 * np.sin(qx / 4) + 0.2 * np.cos(qy / 6 + qx / 14)
    frame = np.repeat(wave.reshape(150, 200, 1), 3, axis=2).astype(np.float32)
    warped = warp_light(frame, motion, local)
    still = 0.5 + 0.2 * np.sin(xs / 4) + 0.2 * np.cos(ys / 6 + xs / 14)
    error = (warped[..., 0] - still)[12:-12, 12:-12]
    # the shift is taken where the light comes out, not where it came from: 1 px times a slope of
    # 1 px in 50, as the nodes lie, times the slope of the light
    assert np.abs(error).max() < 0.01
    assert np.abs((warp_light(frame, motion)[..., 0] - still)[12:-12, 12:-12]).max() > 0.04


def test_a_local_correction_grows_with_the_picture():
    local = LocalCorrection(np.array([0, 9.0]), np.array([0, 5.0]), np.ones((2, 2)), np.eye(2))
    full = local.to_full(4)
    np.testing.assert_array_equal(full.x, [1.5, 37.5])
    np.testing.assert_array_equal(full.dx, 4 * np.ones((2, 2)))
    dx, dy = full.at(np.array([-5.0, 1.5, 19.5]), np.array([1.5]))
    np.testing.assert_allclose(dx, [[4, 4, 4]])
    np.testing.assert_allclose(dy, [[4, 4, 2]])
