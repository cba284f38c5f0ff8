"""Dark, flat and their arithmetic on arrays small enough to work out by hand."""

from __future__ import annotations

import json

import numpy as np
import pytest

from stacker.light.calibration import (
    LEAST_GAIN,
    LightCalibration,
    MosaicCalibration,
    dark_signal,
    full_share,
    response,
)
from stacker.light.master import Master, Mosaic, master_of_facts
from stacker.light.mending import Mending

BAYER = Mosaic(((0, 1), (3, 2)), (100.0, 110.0, 120.0, 130.0), 4000.0)
BLACK = np.array(BAYER.black_tile, np.float32)


def mosaic_master(signal, kind="dark", **facts):
    """Return a master of a signal above black, (H, W)."""
    signal = np.asarray(signal, np.float32)
    rows, columns = signal.shape[0] // 2, signal.shape[1] // 2
    return Master(signal + np.tile(BLACK, (rows, columns)), kind, 9, mosaic=BAYER, **facts)


def light_master(light, kind="dark", **facts):
    return Master(np.asarray(light, np.float32), kind, 9, **facts)


def test_dark_and_flat_on_a_mosaic_of_four():
    codes = np.array([[300, 310], [330, 320]], np.uint16)
    offset = np.array([[100, 0], [50, 200]], np.float32)
    gain = np.array([[0.5, 2.0], [1.0, 1.0]], np.float32)
    MosaicCalibration(BAYER, offset, gain).apply(codes, BLACK, 4000)
    # above black: 200, 200, 200, 200; less the dark: 100, 200, 150, 0; by the gain: 200, 100, 150
    np.testing.assert_array_equal(codes, [[300, 210], [280, 120]])


def test_noise_below_black_stays_below_it_and_full_photosites_stay_full():
    codes = np.array([[100, 4000], [130, 4096]], np.uint16)
    MosaicCalibration(BAYER, np.full((2, 2), 30, np.float32)).apply(codes, BLACK, 4000)
    np.testing.assert_array_equal(codes, [[70, 4000], [100, 4096]])


def test_codes_never_wrap_round():
    codes = np.array([[3, 3000], [0, 20]], np.uint16)
    gain = np.array([[1, 0.01], [1, 1]], np.float32)
    MosaicCalibration(BAYER, np.full((2, 2), 40, np.float32), gain).apply(codes, BLACK, 4000)
    np.testing.assert_array_equal(codes, [[0, 65535], [0, 0]])


@pytest.mark.parametrize("shape", [(2, 2), (50, 6), (97, 31)])
def test_blocks_of_rows_keep_the_colours_in_step(shape):
    rng = np.random.default_rng(1)
    codes = rng.integers(200, 3000, shape).astype(np.uint16)
    gain = rng.uniform(0.5, 2, shape).astype(np.float32)
    black = np.tile(BLACK, (shape[0] // 2 + 1, shape[1] // 2 + 1))[: shape[0], : shape[1]]
    wanted = np.rint((codes - black) / gain + black)
    MosaicCalibration(BAYER, None, gain).apply(codes, BLACK, 4000)
    # float32 may round a half the other way
    assert np.abs(codes - wanted).max() <= 1
    assert np.mean(codes != wanted) < 0.01


def test_light_may_come_out_below_zero_and_full_light_stays_full():
    light = np.array([[[0.2, 0.01, 1.0]]], np.float32)
    offset = np.full((1, 1, 3), 0.05, np.float32)
    gain = np.array([[[0.5, 1.0, 2.0]]], np.float32)
    LightCalibration(offset, gain).apply(light)
    np.testing.assert_allclose(light[0, 0], [0.3, -0.04, 1.0], rtol=1e-6)


def test_places_are_mended_after_all_else():
    """The middle is filled from neighbours whose dark is gone already."""
    light = np.ones((7, 7, 3), np.float32) * np.float32(0.3)
    offset = np.full((7, 7, 3), 0.1, np.float32)
    bad = np.zeros((7, 7), bool)
    bad[3, 3] = True
    LightCalibration(offset, None, Mending(bad, 1)).apply(light)
    np.testing.assert_allclose(light, 0.2, rtol=1e-6)


def test_a_dark_of_another_shutter_is_scaled_between_bias_and_dark():
    dark = mosaic_master([[30, 10], [10, 50]], shutter_s=10.0)
    bias = mosaic_master([[10, 10], [10, 10]], "bias", shutter_s=0.001)
    signal, scale = dark_signal(dark, bias, shutter_s=30.0)
    assert scale == 3.0
    np.testing.assert_allclose(signal, [[70, 10], [10, 130]], rtol=1e-6)
    same, scale = dark_signal(dark, bias, shutter_s=10.0)
    assert scale == 1.0
    np.testing.assert_array_equal(same, [[30, 10], [10, 50]])


def test_without_a_bias_or_a_clock_nothing_is_scaled():
    dark = mosaic_master([[30, 10], [10, 50]], shutter_s=10.0)
    bias = mosaic_master([[10, 10], [10, 10]], "bias")
    for masters, shutter in (((dark, None), 30.0), ((dark, bias), None)):
        signal, scale = dark_signal(*masters, shutter_s=shutter)
        assert scale == 1.0
        np.testing.assert_array_equal(signal, [[30, 10], [10, 50]])
    signal, _ = dark_signal(None, bias, shutter_s=1.0)
    np.testing.assert_array_equal(signal, [[10, 10], [10, 10]])
    assert dark_signal(None, None, shutter_s=1.0) == (None, 1.0)


def test_the_response_is_one_on_average_for_each_colour():
    """Even light of any colour over a lens that darkens to one side."""
    shade = np.linspace(0.5, 1.0, 8)
    signal = np.outer(np.tile([400.0, 900.0], 3), shade)
    gain = response(mosaic_master(signal, "flat"), None)
    for row in range(2):
        for column in range(2):
            plane = gain[row::2, column::2]
            assert plane.mean() == pytest.approx(1, rel=1e-6)
            np.testing.assert_allclose(plane[0], shade[column::2] / shade[column::2].mean())
    coloured = light_master(np.array([0.5, 0.2, 0.1]) * shade[None, :, None], "flat")
    np.testing.assert_allclose(response(coloured, None)[0, :, 2], shade / shade.mean(), rtol=1e-6)


def test_what_the_flat_gathered_without_light_is_taken_off_first():
    signal = np.array([[300.0, 500, 300, 100], [300, 500, 300, 100]])
    gain = response(mosaic_master(signal, "flat"), np.full((2, 4), 100, np.float32))
    np.testing.assert_allclose(gain[0, 0::2], [1, 1])
    np.testing.assert_allclose(gain[0, 1::2], [2, LEAST_GAIN])


@pytest.mark.parametrize("level", [0.0, -0.1])
def test_a_flat_without_light_is_refused(level):
    with pytest.raises(ValueError, match="without light"):
        response(light_master(np.full((4, 4, 3), level), "flat"), None)


def test_a_dead_place_in_the_flat_does_not_blow_up():
    flat = np.full((4, 4, 3), 0.5)
    flat[1, 1] = 0
    gain = response(light_master(flat, "flat"), None)
    assert gain.min() == np.float32(LEAST_GAIN)


def test_the_share_of_a_flat_that_is_full():
    flat = np.full((4, 5, 3), 0.5)
    flat[0, 0] = 1.0
    assert full_share(light_master(flat, "flat")) == 0.05
    assert full_share(mosaic_master(np.full((2, 2), 3880.0), "flat")) == 0.5


@pytest.mark.parametrize("master", [
    mosaic_master(np.ones((2, 2)), camera="Kestrel", iso=800.0, shutter_s=10.0),
    light_master(np.ones((2, 2, 3)), "flat", space="sRGB"),
])  # fmt: skip
def test_facts_come_back_as_they_went(master):
    facts = json.loads(json.dumps(master.facts()))
    again = master_of_facts(facts, master.pixels)
    assert again.facts() == master.facts() and again.mosaic == master.mosaic
    for key in ("kind", "frames", "iso"):
        with pytest.raises(ValueError, match="fact"):
            master_of_facts({k: v for k, v in facts.items() if k != key}, master.pixels)
    with pytest.raises(ValueError, match="pixels"):
        master_of_facts(facts, master.pixels[..., 0])


def test_patterns_that_make_no_sense_are_refused():
    master = mosaic_master(np.ones((2, 2)))
    for pattern in ([], [[0, 1]], [[0, 9], [1, 2]], [[-1, 0], [0, 1]]):
        with pytest.raises(ValueError, match="pattern"):
            master_of_facts({**master.facts(), "pattern": pattern}, master.pixels)
