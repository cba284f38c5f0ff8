"""Figures of smoothness against textures whose answer is known."""

import cv2
import numpy as np
import pytest

from stacker.survey.smoothness import (
    contrast_left,
    find_movement,
    strangeness_left,
    whole_contrast_left,
)

SIZE = (240, 320)
NOISE = 0.004


def textures(count: int, rng: np.random.Generator) -> list[np.ndarray]:
    """Return independent soft textures of standard deviation 0.05."""
    made = []
    for _ in range(count):
        texture = cv2.GaussianBlur(rng.normal(0, 1, SIZE), (0, 0), 1.5)
        made.append(0.05 * texture / texture.std())
    return made


def scene(count: int, *, noise: float = NOISE, seed: int = 1) -> list[np.ndarray]:
    """Return frames: contrasty rocks everywhere, water in the lower half, noise."""
    rng = np.random.default_rng(seed)
    rocks = 0.3 + 0.1 * np.sign(cv2.GaussianBlur(rng.normal(0, 1, SIZE), (0, 0), 2))
    frames = []
    for texture in textures(count, rng):
        frame = rocks + rng.normal(0, noise, SIZE)
        frame[SIZE[0] // 2 :] += texture[SIZE[0] // 2 :]
        frames.append(frame.astype(np.float32))
    return frames


def mean(frames: list[np.ndarray]) -> np.ndarray:
    return np.mean(frames, axis=0, dtype=np.float64).astype(np.float32)


def test_what_moves_is_found_and_nothing_else():
    movement = find_movement(scene(8))
    # the outermost seven pixels cannot be judged
    water = movement.moving[SIZE[0] // 2 + 4 : -7, 7:-7]
    rocks = movement.moving[: SIZE[0] // 2 - 4]
    assert water.mean() > 0.97
    assert rocks.mean() < 0.01
    assert movement.found
    # where all moves noise is known by its roughness, up to the factor for JPEG's
    assert NOISE**2 * 0.9 < movement.noise < NOISE**2 * 6


@pytest.mark.parametrize("taken", [1, 4, 16])
def test_independent_textures_leave_one_over_the_root_of_their_number(taken):
    frames = scene(32)
    movement = find_movement(frames[::2])
    left = contrast_left(mean(frames[:taken]), mean(frames), movement, frames=taken, of=32)
    # 2800 blobs of texture: their variance is known to 3 %, so is that of the 16 frames
    assert left == pytest.approx(taken**-0.5, rel=0.06)


def test_the_whole_is_measured_by_its_half():
    frames = scene(32)
    movement = find_movement(frames[::2])
    left = whole_contrast_left(mean(frames[:16]), mean(frames), movement, frames=16, of=32)
    assert left == pytest.approx(32**-0.5, rel=0.06)


def test_noise_does_not_count_as_texture():
    """Without the correction a mean of four would still read 0.5, but one of the frames 1.1."""
    frames = scene(32, noise=0.025)
    movement = find_movement(frames[::2])
    # known within what the quietest of 38000 pixels tell
    assert movement.noise == pytest.approx(0.025**2, rel=0.25)
    left = contrast_left(mean(frames[:4]), mean(frames), movement, frames=4, of=32)
    assert left == pytest.approx(0.5, rel=0.1)


def test_a_picture_full_of_water_moves_everywhere():
    rng = np.random.default_rng(5)
    frames = [
        (0.3 + texture + rng.normal(0, NOISE, SIZE)).astype(np.float32)
        for texture in textures(16, rng)
    ]
    movement = find_movement(frames)
    assert movement.moving[7:-7, 7:-7].mean() > 0.97
    left = contrast_left(mean(frames[:4]), mean(frames), movement, frames=4, of=16)
    assert left == pytest.approx(0.5, rel=0.06)


def test_texture_that_stays_for_four_frames_is_seen_to_stay():
    rng = np.random.default_rng(2)
    frames = [t for t in textures(8, rng) for _ in range(4)]
    frames = [(0.3 + t + rng.normal(0, NOISE, SIZE)).astype(np.float32) for t in frames]
    movement = find_movement(frames[::2])
    left = contrast_left(mean(frames[:4]), mean(frames), movement, frames=4, of=32)
    # the same texture four times over is no smoother; a part of it is in the whole, though
    assert left > 0.9


def test_flicker_and_dusk_are_no_movement():
    rng = np.random.default_rng(3)
    smooth = np.linspace(0.1, 0.5, SIZE[1], dtype=np.float32)
    dusk = [
        (np.broadcast_to(smooth * (1 - 0.05 * k), SIZE) + rng.normal(0, NOISE, SIZE)).astype(
            np.float32
        )
        for k in range(6)
    ]
    assert not find_movement(dusk).found


def test_a_still_burst_has_no_figure():
    rng = np.random.default_rng(4)
    still = [(0.3 + rng.normal(0, NOISE, SIZE)).astype(np.float32) for _ in range(5)]
    assert not find_movement(still).found


def test_masked_cells_do_not_count():
    valid = np.zeros(SIZE, np.bool_)
    assert find_movement(scene(4), valid=valid).share == 0


def test_what_vanished_is_gone():
    frames = scene(1, noise=0) * 9
    walkers = []
    for k, frame in enumerate(frames):
        with_walker = frame.copy()
        with_walker[60:120, 20 + 30 * k : 40 + 30 * k] = 0.8
        walkers.append(with_walker)
    movement = find_movement(walkers)
    rest = np.median(walkers, axis=0).astype(np.float32)
    assert strangeness_left(rest, walkers, rest, movement) == 0
    assert strangeness_left(walkers[0], walkers, rest, movement) == pytest.approx(1, abs=0.1)
