"""Lengths of streaks that were drawn."""

import cv2
import numpy as np
import pytest

from stacker.survey.streaks import light_at_rest, longest_streak

SIZE = (200, 300)


def with_line(start: tuple[int, int], end: tuple[int, int], width: int = 3) -> np.ndarray:
    drawn = np.full(SIZE, 0.1, np.float32)
    cv2.line(drawn, start, end, 0.9, width)
    return drawn


REST = np.full(SIZE, 0.1, np.float32)
SIGMA = np.full(SIZE, 0.005, np.float32)


@pytest.mark.parametrize("end", [(220, 50), (140, 170), (20, 160)])
def test_a_straight_streak_is_as_long_as_it_was_drawn(end):
    start = (20, 50)
    length = longest_streak(with_line(start, end), REST, SIGMA)
    # the line's round ends and its width at a corner add to it
    assert length == pytest.approx(np.hypot(end[0] - 20, end[1] - 50), abs=5)


def test_a_notch_parts_a_streak():
    picture = with_line((20, 50), (220, 50))
    picture[:, 100:103] = 0.1
    assert longest_streak(picture, REST, SIGMA) == pytest.approx(119, abs=4)


def test_noise_is_no_streak():
    """The greatest of 100 noisy values lies 2.5 sigma up, and nowhere six."""
    rng = np.random.default_rng(1)
    frames = [(0.1 + rng.normal(0, 0.005, SIZE)).astype(np.float32) for _ in range(100)]
    assert longest_streak(np.max(frames, axis=0), REST, SIGMA) == 0


def test_light_at_rest_is_that_without_what_moves():
    frames = [with_line((40 * k, 20), (40 * k + 30, 20)) for k in range(6)]
    assert np.array_equal(light_at_rest(frames), REST)
    assert np.array_equal(light_at_rest(frames[:2]), REST)
