"""How smooth water gets, against textures of known size and number."""

import cv2
import numpy as np
import pytest

from stacker.survey.silk import SILK, find_silk

ROCKS = 40


def water(count, travel_px, sigma=2.0, seed=0, width=200):
    """Return frames whose right part is a texture that flows by so many px a frame."""
    rng = np.random.default_rng(seed)
    wide = width + int(travel_px * count) + 10
    sheet = cv2.GaussianBlur(rng.standard_normal((160, wide)).astype(np.float32), (0, 0), sigma)
    sheet = 0.3 + 0.05 * sheet / sheet.std()
    rocks = 0.3 + 0.1 * rng.random((160, width), np.float32)
    frames = []
    for number in range(count):
        frame = rocks.copy()
        start = round(number * travel_px)
        frame[:, ROCKS:] = sheet[:, start : start + width - ROCKS]
        frames.append(frame + rng.standard_normal(frame.shape).astype(np.float32) * 0.002)
    return frames


@pytest.mark.parametrize("count", [16, 36])
def test_independent_textures_leave_one_over_the_root_of_their_number(count):
    # 30 px a frame is six of its lengths: each frame is another texture
    silk = find_silk(water(count, 30.0), 1.0)
    assert silk.contrast_left == pytest.approx(count**-0.5, rel=0.15)
    assert silk.lengths == pytest.approx(count, rel=0.35)
    # the law asks for a hundred; a measurement of two halves errs by its square
    assert silk.silk_frames == pytest.approx(1 / SILK**2, rel=0.35)


def test_the_texture_is_told_in_full_size_pixels():
    # white noise under a Gaussian of sigma 2 is correlated over sigma * sqrt(2), and that
    # integrates to 2 * sqrt(pi) * sigma; the blur that is taken off makes it somewhat shorter
    silk = find_silk(water(12, 30.0, width=1000), 3.0)
    assert silk.texture_px == pytest.approx(3 * 2 * np.pi**0.5 * 2.0, rel=0.25)


def test_what_flows_slowly_takes_more_frames():
    quick, slow = (find_silk(water(32, travel), 1.0) for travel in (30.0, 2.0))
    assert slow.contrast_left > 1.3 * quick.contrast_left
    assert slow.silk_frames > 1.5 * quick.silk_frames


def test_silk_is_told_where_it_is_reached():
    silk = find_silk(water(128, 30.0), 1.0)
    assert silk.contrast_left < 0.11
    assert 60 < silk.silk_frames < 140


def test_where_nothing_moves_there_is_none():
    rng = np.random.default_rng(1)
    still = rng.random((120, 160), np.float32)
    frames = [still + rng.standard_normal(still.shape).astype(np.float32) * 0.01 for _ in range(8)]
    assert find_silk(frames, 1.0) is None
