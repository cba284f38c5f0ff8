"""What a screen shows is what leaves, within a code."""

from dataclasses import replace

import numpy as np
import pytest

from stacker.finish.shown import clipping_mask, histogram_of, shown_codes
from stacker.finish.tone import Tone, apply
from stacker.light.convert import conversion, convert_light
from stacker.light.encoding import CodedLight, Encoding
from stacker.light.space import DISPLAY_P3, SRGB
from stacker.light.srgb import linear_to_srgb
from stacker.light.white_balance import WhiteBalance, apply_balance

TONES = [
    Tone(),
    Tone(1.5),
    Tone(-3.0),
    Tone(0.0, shoulder=True, brightest=20.0),
    Tone(2.0, shoulder=True),
    Tone(-2.0, brightest=9.0),
]


def light_up_to(brightest):
    rng = np.random.default_rng(5)
    # dark values often, as in nights
    light = rng.random((40, 50, 3), np.float32) ** 4
    light[0] = 0
    light[1] = 1
    return light * np.float32(brightest)


@pytest.mark.parametrize("tone", TONES, ids=str)
@pytest.mark.parametrize("space", [SRGB, DISPLAY_P3], ids=lambda space: space.name)
@pytest.mark.parametrize("balance", [None, WhiteBalance((1.2, 1.0, 0.8))], ids=str)
def test_codes_are_those_of_the_formula(tone, space, balance):
    light = light_up_to(tone.brightest)
    codes = shown_codes(light, space, tone, balance).astype(int)
    truth = by_the_formula(light, space, tone, balance).astype(int)
    # one where rounding falls the other way
    assert np.abs(codes - truth).max() <= 1
    assert (codes != truth).mean() < 0.01


def by_the_formula(light, space, tone, balance):
    """Every step for every pixel, as ``save_picture`` does them."""
    if balance is not None:
        light = apply_balance(balance, light, space, white=tone.brightest)
        tone = replace(tone, brightest=tone.brightest * balance.greatest_gain(space))
    toned = np.ascontiguousarray(apply(tone, light))
    out = np.empty_like(toned)
    convert_light(toned, conversion(space, SRGB), out=out)
    return np.rint(linear_to_srgb(np.clip(out, 0, 1)) * 255)


def test_coded_light_is_its_light():
    encoding = Encoding("uint8", SRGB)
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16, 1).repeat(3, axis=2)
    coded = CodedLight(codes, encoding.table())
    np.testing.assert_array_equal(shown_codes(coded, SRGB, Tone()), codes)
    brighter = shown_codes(coded, SRGB, Tone(1.0)).astype(int)
    of_light = shown_codes(coded.light(), SRGB, Tone(1.0)).astype(int)
    assert np.abs(brighter - of_light).max() <= 1


def test_the_histogram_counts_stops():
    light = np.empty((4, 4, 3), np.float32)
    light[..., 0], light[..., 1], light[..., 2] = 0.25, 2.0**-7.1, 0.0
    light[0, :, 0] = 1.5
    histogram = histogram_of(light, SRGB, Tone())
    edges = np.array(histogram.edges_stops)
    assert edges[0] == -12
    assert edges[-1] == 1

    def share(name, stops):
        return histogram.counts[name][int(np.searchsorted(edges, stops, side="right")) - 1]

    assert share("r", -2.0) == 0.75
    assert share("r", np.log2(1.5)) == 0.25
    assert share("g", -7.1) == 1
    # what is darker than all of them
    assert histogram.counts["b"][0] == 1


def test_the_histogram_follows_the_exposure():
    light = np.full((4, 4, 3), 0.25, np.float32)
    plain, brighter = (histogram_of(light, SRGB, Tone(ev)) for ev in (0.0, 1.0))
    assert np.argmax(brighter.counts["g"]) - np.argmax(plain.counts["g"]) == 4


def test_clipping_is_white_in_any_channel_or_black_in_all():
    codes = np.array([[[255, 3, 0], [0, 0, 0], [254, 1, 0], [0, 0, 255]]], np.uint8)
    assert clipping_mask(codes).tolist() == [[255, 255, 0, 255]]
