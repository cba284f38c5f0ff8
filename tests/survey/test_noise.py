"""The noise found in simulated squares, whose noise is known."""

from itertools import pairwise

import numpy as np
import pytest

from stacker.survey.noise import MID_GREY, SIDE, measure_noise, pair_places, square_places

# what the estimate is asked to keep: three bursts' worth of blocks scatter by about 1 %
WITHIN = 0.1


def squares(seed, levels, full_well_e, read_e):
    rng = np.random.default_rng(seed)
    light = np.broadcast_to(np.asarray(levels)[:, None, None], (len(levels), SIDE, SIDE))
    variance = light / full_well_e + (read_e / full_well_e) ** 2
    return (light + rng.normal(size=light.shape) * np.sqrt(variance)).astype(np.float32)


@pytest.mark.parametrize("full_well_e, read_e", [(48_000, 3), (4_000, 8), (600, 12)])
def test_noise_is_found_within_a_tenth(full_well_e, read_e):
    levels = np.geomspace(0.02, 0.6, 64)
    shots = [squares(number, levels, full_well_e, read_e) for number in range(6)]
    noise = measure_noise(list(pairwise(shots)))
    truth = np.sqrt(MID_GREY / full_well_e + (read_e / full_well_e) ** 2)
    assert noise.at_mid_grey == pytest.approx(truth, rel=WITHIN)
    assert not noise.extrapolated


def test_what_moves_in_a_third_of_the_squares_does_not_count():
    levels = np.geomspace(0.02, 0.6, 63)
    one, two = (squares(n, levels, 4_000, 5) for n in range(2))
    two[::3] += np.random.default_rng(9).uniform(-0.2, 0.2, two[::3].shape).astype(np.float32)
    truth = np.sqrt(MID_GREY / 4_000 + (5 / 4_000) ** 2)
    # of each level's blocks a third is spoilt, which lifts its lower part somewhat
    assert measure_noise([(one, two)]).at_mid_grey == pytest.approx(truth, rel=WITHIN)


def test_a_dark_burst_says_that_mid_grey_was_not_seen():
    levels = np.geomspace(0.004, 0.03, 64)
    noise = measure_noise([(squares(1, levels, 4_000, 5), squares(2, levels, 4_000, 5))])
    assert noise.extrapolated


def test_nothing_comes_of_nothing():
    assert measure_noise([]) is None
    burnt = np.ones((4, SIDE, SIDE), np.float32)
    assert measure_noise([(burnt, burnt)]) is None
    assert square_places((20, 400)) == []
    assert pair_places(1) == []


def test_squares_lie_within_the_frame():
    for y, x in square_places((480, 320)):
        assert 0 <= x <= 480 - SIDE
        assert 0 <= y <= 320 - SIDE
