"""The camera: its noise, its codes and an unsteady hand."""

from __future__ import annotations

import numpy as np
import pytest

from stacker.light.srgb import srgb_to_linear
from stacker.scenes.camera import Camera, hand_motion, move, to_bytes, to_words, tremor_margin

CAMERA = Camera(iso=400, f_number=4.0, focal_mm=35.0, clock="12:00:00")


@pytest.mark.parametrize("level", [0.05, 0.2, 0.7])
def test_noise_is_shot_plus_read(level: float) -> None:
    flat = np.full((400, 300, 3), level, np.float32)
    taken = CAMERA.expose(flat, np.random.default_rng(7))
    full_well = 48_000 / 4
    stated = level / full_well + (3 / full_well) ** 2
    assert CAMERA.noise_variance(level) == pytest.approx(stated)
    # The variance of a variance over n values is 2 / n of its square: four of its sigmas.
    assert taken.var(dtype=np.float64) == pytest.approx(stated, rel=4 * np.sqrt(2 / flat.size))
    assert taken.mean(dtype=np.float64) == pytest.approx(level, abs=4 * np.sqrt(stated / flat.size))


def test_sensor_clips() -> None:
    light = np.array([[[0.0, 1.5, 40.0]]], np.float32).repeat(500, axis=0)
    taken = CAMERA.expose(light, np.random.default_rng(1))
    assert taken.min() >= 0
    assert (taken[..., 1:] == 1).all()


def test_lens_keeps_the_light() -> None:
    light = np.zeros((31, 31, 3), np.float32)
    light[15, 15] = 4.0
    seen = CAMERA.through_lens(light)
    assert seen.sum() == pytest.approx(12.0, rel=1e-4)
    assert seen[15, 15, 0] < 3.0


def test_codes_come_back_as_the_light_they_were() -> None:
    light = np.linspace(0, 1, 3000, dtype=np.float32).reshape(10, 100, 3)
    back = srgb_to_linear(to_words(light) / 65_535)
    assert np.abs(back - light).max() < 2e-5
    exact = np.rint(255.0 * to_words(light) / 65_535)
    assert np.abs(to_bytes(light).astype(int) - exact).max() <= 1
    assert to_bytes(np.array([0, 1], np.float32)).tolist() == [0, 255]


def test_steady_hand_leaves_frames_alone() -> None:
    light = np.random.default_rng(0).random((20, 30, 3), dtype=np.float32)
    motion = hand_motion(3, 0.0, np.random.default_rng(0))
    assert tremor_margin((30, 20), 0.0) == 0
    assert all(np.array_equal(matrix, np.eye(3)) for matrix in motion)
    assert np.array_equal(move(light, motion[2], 0), light)


def test_hand_wanders_about_as_far_as_asked_and_stays_within_the_margin() -> None:
    motion = np.array(hand_motion(4000, 2.0, np.random.default_rng(4)))
    assert np.array_equal(motion[0], np.eye(3))
    assert 1.4 < motion[:, 0, 2].std() < 2.6
    margin = tremor_margin((300, 200), 2.0)
    corners = np.array([[0, 0, 1], [299, 0, 1], [0, 199, 1], [299, 199, 1]]).T
    moved = motion @ corners
    assert (moved[:, :2] > -margin).all()
    assert (moved[:, 0] < 299 + margin).all()
    assert (moved[:, 1] < 199 + margin).all()
    # Slow: from frame to frame it goes less far than it strays.
    assert np.diff(motion[:, 0, 2]).std() < 0.7 * motion[:, 0, 2].std()


def test_motion_takes_frame_pixels_to_first_frame_pixels() -> None:
    """A smooth picture drawn with a margin, seen by a moved camera."""

    def picture(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        return 0.5 + 0.3 * np.sin(x / 5) * np.cos(y / 7)

    margin = 12
    row, column = np.mgrid[-margin : 40 + margin, -margin : 60 + margin]
    plate = np.repeat(picture(column, row)[..., None], 3, axis=2).astype(np.float32)
    turn = 0.004
    motion = np.array(
        [[np.cos(turn), -np.sin(turn), 3.4], [np.sin(turn), np.cos(turn), -2.2], [0, 0, 1]]
    )
    seen = move(plate, motion, margin)
    row, column = np.mgrid[0:40, 0:60]
    x = motion[0, 0] * column + motion[0, 1] * row + motion[0, 2]
    y = motion[1, 0] * column + motion[1, 1] * row + motion[1, 2]
    # Cubic interpolation of a wave of 31 px.
    assert np.abs(seen[..., 0] - picture(x, y)).max() < 2e-3
