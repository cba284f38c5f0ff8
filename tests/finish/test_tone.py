"""The exposure is a gain in linear light; the shoulder bends only what is bright."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.errors import OptionError
from stacker.finish.codes import to_codes16
from stacker.finish.tone import KNEE, Tone, apply, shoulder_bend, tone_table
from stacker.light.encoding import CodedLight
from stacker.light.space import SRGB

from .pictures import coded, smooth_light

# a float32 light lies half a step of 2^-24 beside the float64 one: one code at a border at most
CODES_APART = 1

tones = st.builds(
    Tone,
    exposure_ev=st.floats(-6, 6),
    shoulder=st.booleans(),
    brightest=st.floats(0.1, 500),
)


def test_neutral_tone_gives_the_very_picture() -> None:
    light, codes = smooth_light(), coded()
    for tone in (Tone(), Tone(shoulder=True), Tone(shoulder=True, brightest=0.5)):
        assert apply(tone, light) is light
        assert apply(tone, codes) is codes


def test_exposure_is_a_gain() -> None:
    light = smooth_light()
    before = light.copy()
    np.testing.assert_array_equal(apply(Tone(2.0), light), light * 4)
    np.testing.assert_array_equal(light, before)
    table = coded()
    toned = apply(Tone(-1.0), table)
    assert isinstance(toned, CodedLight)
    assert toned.codes is table.codes
    np.testing.assert_array_equal(toned.table, table.table / 2)


@pytest.mark.parametrize("peak", [1.0 + 1e-9, 1.01, 1.5, 2, 24, 1e3, 1e9])
def test_shoulder_takes_the_brightest_to_white(peak: float) -> None:
    tone = Tone(shoulder=True, brightest=peak)
    assert tone_table(tone, np.array([peak]))[0] == pytest.approx(1.0, abs=1e-9)


@settings(deadline=None)
@given(st.floats(1.001, 1e4), st.floats(-3, 3))
def test_shoulder_rises_and_joins_smoothly(brightest: float, exposure_ev: float) -> None:
    tone = Tone(exposure_ev, shoulder=True, brightest=brightest)
    light = np.linspace(0, brightest, 4001)
    toned = tone_table(tone, light)
    assert np.all(np.diff(toned) > 0)
    below = light * tone.gain <= KNEE
    np.testing.assert_array_equal(toned[below], light[below] * tone.gain)
    if tone.bends:
        step = 1e-6 * min(1.0, shoulder_bend(tone.peak))
        at = np.array([KNEE - step, KNEE, KNEE + step]) / tone.gain
        left, right = np.diff(tone_table(tone, at)) / step
        assert left == pytest.approx(1.0, abs=1e-5)
        assert right == pytest.approx(1.0, abs=1e-5)


def test_shoulder_asks_for_something_to_bend() -> None:
    with pytest.raises(ValueError, match="needs no shoulder"):
        shoulder_bend(1.0)


@settings(deadline=None)
@given(tones)
def test_table_and_float_light_agree(tone: Tone) -> None:
    picture = coded(65535, height=16, width=64)
    scale = tone.brightest
    by_table = to_codes16(apply(tone, CodedLight(picture.codes, picture.table * scale)), SRGB)
    light = (picture.table * scale).astype(np.float32)[picture.codes]
    by_light = to_codes16(apply(tone, light), SRGB)
    apart = np.abs(by_table.astype(int) - by_light.astype(int)).max()
    assert apart <= CODES_APART


@pytest.mark.parametrize("tone", [Tone(1.0), Tone(0.5, shoulder=True, brightest=4.0)])
def test_layout_in_memory_does_not_matter(tone: Tone) -> None:
    light = smooth_light() * np.float32(4)
    expected = apply(tone, light)
    for laid in (np.asfortranarray(light), np.moveaxis(light, 0, 1).copy().swapaxes(0, 1)):
        np.testing.assert_array_equal(apply(tone, laid), expected)


def test_light_beyond_the_ends_is_borne() -> None:
    light = np.array([[[np.nan, -1.0, np.inf]]], np.float32)
    toned = apply(Tone(1.0, shoulder=True, brightest=4.0), light)
    np.testing.assert_array_equal(to_codes16(toned, SRGB), [[[0, 0, 65535]]])


@pytest.mark.parametrize(
    "choice",
    [
        {"exposure_ev": float("nan")},
        {"exposure_ev": 33.0},
        {"brightest": 0.0},
        {"brightest": float("inf")},
    ],
)
def test_senseless_settings_are_refused(choice: dict[str, float]) -> None:
    with pytest.raises(OptionError) as caught:
        Tone(**choice)  # type: ignore[arg-type]
    assert caught.value.code == "option-exposure"
