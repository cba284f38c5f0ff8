"""Sharpness and noise of results whose truth is known: simulated squares."""

import cv2
import numpy as np
import pytest

from stacker.survey.fine_detail import compare_detail
from stacker.survey.noise_law import expected_noise_gain, extreme_of_normal
from stacker.survey.still_squares import WHOLE

FRAMES, SQUARES, NOISE = 16, 40, 0.01
# ten squares of 48 x 48 pixels and 16 frames: over eight seeds the gain scatters by 1.2 %
WITHIN = 0.05


def burst(seed=1, *, blur=0.0):
    """Return frames of 20 flat and 20 textured squares, (N, S, side, side), and their truth."""
    rng = np.random.default_rng(seed)
    truth = np.full((SQUARES, WHOLE, WHOLE), 0.3)
    texture = rng.normal(size=(SQUARES // 2, WHOLE, WHOLE))
    truth[1::2] += 0.08 * np.stack([cv2.GaussianBlur(each, (0, 0), 0.8) for each in texture])
    frames = truth + NOISE * rng.normal(size=(FRAMES, *truth.shape))
    if blur:
        truth = np.stack([cv2.GaussianBlur(each, (0, 0), blur) for each in truth])
    result = truth + NOISE / FRAMES**0.5 * rng.normal(size=truth.shape)
    return frames.astype(np.float32), result.astype(np.float32)


def test_a_mean_of_a_still_burst_is_as_sharp_and_has_the_noise_of_the_law():
    frames, _ = burst()
    found = compare_detail(frames.mean(axis=0), list(frames))
    assert found.sharpness == pytest.approx(1.0, abs=0.02)
    assert found.noise_gain == pytest.approx(FRAMES**0.5, rel=WITHIN)
    assert found.noise_of_frame == pytest.approx(NOISE, rel=WITHIN)
    assert found.lift_stops == pytest.approx(0.0, abs=0.01)
    assert found.detailed % 2 == 1 and found.flat % 2 == 0


def test_a_blurred_result_is_softer_by_as_much_as_it_was_blurred():
    frames, soft = burst(blur=1.0)
    found = compare_detail(soft, list(frames[:8]))
    # texture of a blur of 0.8 and one of 1.0 more: by what of it is finer than a blur of 2
    rng = np.random.default_rng(5)
    texture = cv2.GaussianBlur(rng.normal(size=(512, 512)), (0, 0), 0.8)
    fine = [
        np.std(each - cv2.GaussianBlur(each, (0, 0), 2.0))
        for each in (cv2.GaussianBlur(texture, (0, 0), 1.0), texture)
    ]
    assert found.sharpness == pytest.approx(fine[0] / fine[1], abs=0.03)
    assert found.sharpness < 0.6


def test_the_sharpest_frame_is_what_counts():
    frames, _ = burst()
    rng = np.random.default_rng(8)
    soft = np.stack([cv2.GaussianBlur(square, (0, 0), 1.2) for square in frames.mean(axis=0)])
    some = [(soft + NOISE * rng.normal(size=soft.shape)).astype(np.float32) for _ in range(6)]
    some[4] = frames[4]
    found = compare_detail(frames.mean(axis=0), some)
    assert found.sharpest == 4
    assert found.sharpness == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(
    "blend, combine", [("median", np.median), ("lighten", np.max), ("darken", np.min)]
)
def test_other_blends_have_the_noise_of_their_law(blend, combine):
    frames, _ = burst()
    found = compare_detail(combine(frames, axis=0).astype(np.float32), list(frames))
    assert found.noise_gain == pytest.approx(expected_noise_gain(blend, [1.0] * FRAMES), rel=0.08)


def test_a_lighten_lifts_the_dark_by_what_extremes_do():
    frames, _ = burst()
    found = compare_detail(frames.max(axis=0), list(frames))
    lifted = np.log2(1 + NOISE * extreme_of_normal(FRAMES)[0] / 0.3)
    assert found.lift_stops == pytest.approx(lifted, rel=WITHIN)


def test_what_cannot_be_told_is_not_told():
    frames, result = burst()
    assert compare_detail(result, [frames[0]]).sharpness is None
    assert compare_detail(result, list(frames[:3])).noise_gain is None
    burnt = np.ones_like(result)
    assert compare_detail(burnt, list(frames)).sharpness is None
    gone = np.full_like(result, np.nan)
    assert compare_detail(result, [gone, *frames[:4]]).sharpness is None
    # nothing but noise has no sharpness, and nothing but texture no noise
    flat, rich = [0, 2, 4, 6, 8, 10, 12, 14], [1, 3, 5, 7, 9, 11, 13, 15]
    assert compare_detail(result[flat], [f[flat] for f in frames]).sharpness is None
    assert compare_detail(result[rich], [f[rich] for f in frames]).noise_gain is None


def test_the_laws_are_those_of_the_books():
    # David and Nagaraja: the greatest of two lies 1/sqrt(pi) above the mean, of ten 1.539
    assert extreme_of_normal(2)[0] == pytest.approx(np.pi**-0.5, abs=1e-4)
    assert extreme_of_normal(10)[0] == pytest.approx(1.5388, abs=1e-3)
    assert extreme_of_normal(1) == pytest.approx((0, 1), abs=1e-3)
    assert expected_noise_gain("mean", [1.0] * 9 + [0.0]) == pytest.approx(3)
    assert expected_noise_gain("mean", [1.0, 0.5]) == pytest.approx(1.5 / 1.25**0.5)
    assert expected_noise_gain("lighten", [1.0] * 9, true_floor=True) == pytest.approx(3)
    assert expected_noise_gain("lighten", [1.0] * 9, fading=True) is None
    assert expected_noise_gain("mean", []) is None
