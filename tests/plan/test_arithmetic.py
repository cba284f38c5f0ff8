"""Exposure, noise, water, streaks, storage: against answers worked by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.plan.exposure import (
    DIAL,
    exposure_value,
    filter_replaced,
    light_in_words,
    longest_on_dial,
    metered_shutter_s,
    nearest_on_dial,
    stops_from_metered,
)
from stacker.plan.noise import (
    burst_noise,
    grey_signal_e,
    long_noise_e,
    maximum_lift_sigma,
    mean_noise_e,
)
from stacker.plan.sensors import FORMATS, Sensor, find_format, typical_read_noise_e
from stacker.plan.storage import storage
from stacker.plan.streaks import HIDDEN_GAP, lamp_width_px, speed_px_s, stays_in_median, streak
from stacker.plan.water import frames_for_contrast, lengths_per_frame, remaining_contrast

CLOSE = 1e-12  # rounding of a few operations


def test_full_sun_is_ev_15():
    """f/16 at 1/ISO in full sun, the oldest rule there is: 16^2 x 125 = 32000 = 2^14.97."""
    assert exposure_value(16, 1 / 125, 100) == pytest.approx(math.log2(32000), abs=CLOSE)
    assert exposure_value(16, 1 / 125, 100) == pytest.approx(15, abs=0.05)


def test_iso_counts_as_a_stop_for_each_doubling():
    assert exposure_value(8, 1, 100) == 6.0
    assert exposure_value(8, 1, 400) == 4.0


@given(st.floats(1, 32), st.floats(25, 25600), st.floats(-8, 18))
def test_shutter_and_value_undo_each_other(aperture, iso, ev):
    shutter = metered_shutter_s(aperture, iso, ev)
    assert exposure_value(aperture, shutter, iso) == pytest.approx(ev, abs=1e-9)
    assert stops_from_metered(2 * shutter, aperture, iso, ev) == pytest.approx(1, abs=1e-9)


def test_the_filter_of_sixty_four_frames():
    """A filter ND 64 is 6 stops and density 1.8, as filters are labelled."""
    found = filter_replaced(64)
    assert found.stops == 6 and found.factor == 64
    assert found.density == pytest.approx(1.806, abs=0.001)


def test_the_dial():
    assert nearest_on_dial(0.118) == 1 / 8
    assert nearest_on_dial(3.78) == 4
    assert longest_on_dial(8.3) == 8
    assert longest_on_dial(3.98) == 4  # what a limit of 4 s comes out as
    assert longest_on_dial(1e-9) == 1 / 8000
    steps = np.diff(np.log2(DIAL))
    # third stops, their names rounded: 13 to 15 is the shortest step, 0.8 to 1 the longest
    assert np.all((steps > 0.15) & (steps < 0.45))


def test_light_in_words_goes_from_sun_to_night():
    assert light_in_words(15) == "full sun"
    assert light_in_words(-9) == "a dark sky in the country"


def test_noise_by_hand():
    """100 electrons and 10 of read noise, 4 frames: sqrt(200 / 4) against sqrt(125 / 4)."""
    assert mean_noise_e(100, 10, 4) == pytest.approx(math.sqrt(50), abs=CLOSE)
    assert long_noise_e(100, 10, 4) == pytest.approx(math.sqrt(31.25), abs=CLOSE)


@given(st.floats(1, 1e5), st.integers(1, 10000))
def test_without_read_noise_the_gain_is_the_root_of_the_count(signal, frames):
    noise = burst_noise(signal, 0.0, frames)
    assert noise.gain == pytest.approx(math.sqrt(frames), rel=1e-9)
    assert noise.excess_grey == pytest.approx(1, rel=1e-9)


@given(st.floats(1, 1e5), st.floats(0, 50), st.integers(1, 1000))
def test_one_long_exposure_is_never_noisier(signal, read, frames):
    noise = burst_noise(signal, read, frames)
    assert noise.excess_grey * (1 + 1e-12) >= 1 and noise.excess_grey <= noise.excess_shadow + 1e-12
    assert noise.excess_shadow <= math.sqrt(frames) * (1 + 1e-12)


def test_noise_of_simulated_sensors():
    """2000 pixels of 16 frames: the spread of their mean is known to 1 / sqrt(4000) = 1.6 %."""
    rng = np.random.default_rng(3)
    frames = rng.poisson(40, (16, 2000)) + rng.normal(0, 4, (16, 2000))
    assert frames.mean(axis=0).std() == pytest.approx(mean_noise_e(40, 4, 16), rel=0.06)
    long = rng.poisson(16 * 40, 2000) + rng.normal(0, 4, 2000)
    assert (long / 16).std() == pytest.approx(long_noise_e(40, 4, 16), rel=0.06)


@pytest.mark.parametrize(("frames", "lift"), [(2, 0.564), (10, 1.539), (100, 2.508), (500, 3.037)])
def test_the_lift_of_a_maximum(frames, lift):
    """Expected greatest of N normal values: Harter, Biometrika 48 (1961), table 1."""
    assert maximum_lift_sigma(frames) == pytest.approx(lift, abs=0.03)


def test_a_median_is_noisier_than_a_mean_by_a_quarter():
    noise = burst_noise(100, 0, 400)
    assert noise.median_gain == pytest.approx(20 / 1.2533, rel=1e-3)


def test_mid_grey_of_a_full_frame_pixel():
    """6 um at ISO 100: 2300 x 36 = 82800 electrons are white, 12.8 % of them mid-grey."""
    sensor = Sensor("full frame", 36, 24, (6000, 4000))
    assert sensor.pitch_um == pytest.approx(6, abs=CLOSE)
    assert grey_signal_e(sensor, 100) == pytest.approx(82800 * 10 / 78, rel=1e-9)
    assert grey_signal_e(sensor, 1600, -1) == pytest.approx(82800 * 10 / 78 / 32, rel=1e-9)
    assert grey_signal_e(sensor, 100, 9) == pytest.approx(82800)  # white is the end


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("full frame", "full frame"), ("Full-Frame", "full frame"), ("35mm", "full frame"),
        ("APS-C", "APS-C 1.5"), ("aps-c 1.6", "APS-C 1.6"), ("Four Thirds", "four thirds"),
        ("4/3", "four thirds"), ("one-inch", "one-inch"), ('1"', "one-inch"),
        ("44 x 33", "medium format 44 x 33"), ("medium format", "medium format 44 x 33"),
        ('phone 1/1.3"', 'phone 1/1.3"'), ("1/1.3", 'phone 1/1.3"'),
        ("23.5x15.6", "23.5 x 15.6 mm"), ("24 x 24 mm", "24 x 24 mm"),
    ],
)  # fmt: skip
def test_sensors_by_the_names_of_the_trade(typed, name):
    assert find_format(typed).name == name


@pytest.mark.parametrize("each", FORMATS, ids=lambda each: each.name)
def test_every_format_makes_sense(each):
    width, height = each.pixels
    # pixels are square to a hundredth
    assert each.width_mm / width == pytest.approx(each.height_mm / height, rel=0.015)
    assert find_format(each.name) is each
    assert all(find_format(spelling) is each for spelling in each.spellings)
    noise = [typical_read_noise_e(each, iso) for iso in (50, 100, 800, 6400, 100000)]
    assert noise == sorted(noise, reverse=True)


def test_crop_factors():
    """Diagonals: 43.27 / 28.21 and 43.27 / 21.64 mm."""
    assert Sensor("", 23.5, 15.6, (6000, 4000)).crop_factor == pytest.approx(1.534, abs=0.001)
    assert Sensor("", 17.3, 13.0, (5184, 3888)).crop_factor == pytest.approx(1.9995, abs=0.001)


def test_a_hundred_lengths_of_water_are_silk():
    """Texture of 0.2 m at 1 m/s, frames of 1 s that touch: 5 lengths each, 20 frames make 100."""
    assert lengths_per_frame(1, 0.2, 1, 1) == 5
    assert remaining_contrast(1, 0.2, 1, 1, 20) == pytest.approx(0.1)
    assert frames_for_contrast(0.1, 1, 0.2, 1, 1) == 20


def test_short_frames_far_apart_count_one_each_and_close_together_less():
    assert lengths_per_frame(1, 0.2, 0.01, 10) == 1
    assert lengths_per_frame(1, 0.2, 0.01, 0.1) == pytest.approx(0.5)
    assert remaining_contrast(0, 0.2, 1, 1, 500) == 1


@given(st.floats(0.01, 10), st.floats(0.01, 5), st.floats(0.001, 30), st.floats(0, 30),
       st.floats(0.02, 1))  # fmt: skip
def test_frames_for_a_contrast_reach_it(flow, texture, shutter, gap, contrast):
    beat = shutter, shutter + gap
    frames = frames_for_contrast(contrast, flow, texture, *beat)
    assert remaining_contrast(flow, texture, *beat, frames) <= contrast * (1 + 1e-5)
    if frames > 1:
        assert remaining_contrast(flow, texture, *beat, frames - 1) > contrast * (1 - 1e-5)


def test_water_simulated():
    """Texture of independent cells that flow by: the spread of the mean of 25 is a fifth."""
    rng = np.random.default_rng(1)
    cells = rng.normal(size=(4000, 25))
    assert cells.mean(axis=1).std() == pytest.approx(
        remaining_contrast(1, 0.2, 5, 5, 1), rel=0.05
    )  # 4000 means know their spread to 1.1 %


def test_a_car_across_the_view():
    """15 m/s, 30 m away, 50 mm, 5 um: 0.5 rad/s x 10000 px/rad = 5000 px/s."""
    assert speed_px_s(15, 30, 50, 5) == pytest.approx(5000)
    found = streak(5000, 10, 0.5, 0.1)
    assert (found.length_px, found.gap_px) == (2500, 500)
    assert found.longest_gap_s == pytest.approx(HIDDEN_GAP * 10 / 5000)


def test_a_lamp_is_wider_than_a_point():
    """0.15 m, 30 m away, 50 mm, 5 um: 50 px; far away the 2 px of a point are left."""
    assert lamp_width_px(30, 50, 5) == pytest.approx(math.hypot(50, 2))
    assert lamp_width_px(1e6, 50, 5) == pytest.approx(2, abs=1e-3)


def test_the_hidden_gap_deepens_the_notch_by_half_a_stop():
    """Trails of normal profile drawn frame by frame: the brighter frame's light amid the gap."""
    width = 40.0
    sigma = width / (2 * math.sqrt(2 * math.log(2)))

    def notch(gap: float) -> float:
        """Share of a whole trail's light that one frame gives half a gap beyond its end."""
        along = np.arange(-400.0, 0.0, 0.01)
        profile = np.exp(-((along - gap / 2) ** 2) / (2 * sigma**2))
        return float(profile.sum() * 0.01 / (sigma * math.sqrt(2 * math.pi)))

    assert notch(0) == pytest.approx(0.5, abs=1e-3)
    assert math.log2(notch(0) / notch(HIDDEN_GAP * width)) == pytest.approx(0.5, abs=0.01)


def test_walkers_by_hand():
    """Three frames, each hidden half of the time: 2 of 3 or 3 of 3 is 4 of 8."""
    assert stays_in_median(0.5, 3) == pytest.approx(0.5)
    assert stays_in_median(0.2, 1) == pytest.approx(0.2)
    # 5 choose 3, 4, 5 at a tenth: 0.0081 + 0.00045 + 0.00001
    assert stays_in_median(0.1, 5) == pytest.approx(0.00856)
    assert stays_in_median(0.0, 5) == 0 and stays_in_median(1.0, 5) == 1
    assert stays_in_median(0.3, 100_000) == pytest.approx(0, abs=1e-12)


@given(st.floats(0.01, 0.45), st.integers(1, 60))
def test_more_frames_empty_the_square_better(share, pairs):
    odd = 2 * pairs + 1
    assert stays_in_median(share, odd) <= stays_in_median(share, odd - 2) + 1e-12


def test_card_and_battery_by_hand():
    """120 frames of 30 MB are 3.6 GB; an hour on half a charge of 1.5 h needs one change."""
    room = storage(120, 30, 3600, frame_bytes=30e6, one_card_bytes=2e9, battery_s=5400, cold=True)
    assert room.card_bytes == 3.6e9 and room.cards == 2 and room.bytes_s == 1e6
    assert room.battery_changes == 1
    assert storage(120, 30, 3600, frame_bytes=30e6, battery_s=3600).battery_changes == 0
    assert storage(2001, 1, 2001, frame_bytes=1e6).battery_changes == 2
    assert not room.outruns_camera
    assert storage(100, 0.2, 20, frame_bytes=30e6).outruns_camera
