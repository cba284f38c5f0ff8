"""The noise of a mean of stars is told by the law of averages, and measured here."""

import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine import Settings
from stacker.engine.noise_gain import told_of_noise
from stacker.light.srgb import linear_to_srgb


@pytest.fixture
def burst(tmp_path):
    rng = np.random.default_rng(5)
    for number in range(9):
        light = 0.2 + rng.normal(0, 0.01, (96, 128, 3))
        codes = np.rint(65535 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint16)
        tifffile.imwrite(tmp_path / f"KP_{number + 1}.tif", codes, photometric="rgb")
    return stacker.open_burst(tmp_path, interval_s=2.0, frame_shutter_s=1.0)


@pytest.mark.parametrize("weights", [None, (1, 1, 1, 1, 0.5, 0.5, 0, 0, 0)])
def test_what_is_told_is_what_is_measured(burst, weights):
    shot = stacker.expose(burst, subject="stars", hold="still", regions=(), weights=weights)
    told = shot.report["noise_gain"]
    # the spread of 36864 numbers is known to half a percent
    assert told == pytest.approx(0.01 / shot.light.std(), rel=0.02)
    assert any("of one frame's noise" in words for words in shot.report["warnings"])


def test_other_subjects_are_told_nothing():
    assert told_of_noise((1.0, 1.0), Settings()) == ({}, ())
