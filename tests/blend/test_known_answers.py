"""Every blend against plain numpy in float64."""

import dataclasses

import numpy as np
import pytest

from stacker.blend import BLENDS, Intake, find_blend
from stacker.blend.trimmed import Trimmed
from stacker.errors import OptionError
from stacker.light.curves import LINEAR
from stacker.light.encoding import Encoder, Encoding, as_light
from stacker.light.luminance import luminance
from stacker.light.space import ADOBE_RGB, SRGB

EIGHT = Encoding("uint8", SRGB)
SIXTEEN = Encoding("uint16", SRGB)
CODED_LIGHT = Encoding("uint16", SRGB, LINEAR)
FLOAT = Encoding("float32", SRGB)


def blended(blend, encoding, frames, weights=None):
    weights = tuple(weights or (1.0,) * len(frames))
    accumulator = blend.start(Intake(encoding, weights), *frames[0].shape[:2])
    for index, frame in enumerate(frames):
        accumulator.add(frame, index=index)
    return as_light(accumulator.result())


def random_codes(encoding, count, seed=0, shape=(33, 21, 3)):
    rng = np.random.default_rng(seed)
    return [rng.integers(0, encoding.top + 1, shape).astype(encoding.stored) for _ in range(count)]


@pytest.mark.parametrize("encoding", [EIGHT, SIXTEEN, CODED_LIGHT, Encoding("uint8", ADOBE_RGB)])
@pytest.mark.parametrize("count", [1, 2, 5, 24, 40])
def test_mean_within_one_code_of_float64(encoding, count):
    frames = random_codes(encoding, count)
    # dark frames too: there a code is the least light
    frames += [frame // 50 for frame in frames]
    light = encoding.table()[np.stack(frames)].mean(axis=0)
    curve = encoding.space.curve
    codes = Encoder(curve).encode(blended(BLENDS["mean"], encoding, frames)).astype(int)
    wanted = np.rint(curve.from_light(light) * 65535).astype(int)
    assert np.abs(codes - wanted).max() <= 1


def test_mean_of_a_thousand_dark_frames_stays_within_one_code():
    frames = random_codes(EIGHT, 8, shape=(9, 5, 3))
    frames = [frame // 40 for frame in frames] * 125
    wanted = np.rint(SRGB.curve.from_light(EIGHT.table()[np.stack(frames)].mean(0)) * 65535)
    codes = Encoder(SRGB.curve).encode(blended(BLENDS["mean"], EIGHT, frames))
    assert np.abs(codes.astype(int) - wanted).max() <= 1


@pytest.mark.parametrize(("name", "wanted"), [("lighten", -0.1), ("darken", -0.3), ("mean", -0.2)])
def test_light_outside_the_space_is_kept(name, wanted):
    """A colour that the space's primaries cannot make has a channel below 0."""
    frames = [np.full((2, 2, 3), value, np.float32) for value in (-0.3, -0.2, -0.1)]
    # the grid of light is 2^-30 fine
    np.testing.assert_allclose(blended(BLENDS[name], FLOAT, frames), wanted, atol=1e-7)


def test_more_frames_than_the_whole_number_grid_holds():
    white = np.full((2, 2, 3), 255, np.uint8)
    light = blended(BLENDS["mean"], EIGHT, [white] * 2100)
    np.testing.assert_array_equal(light, 1.0)


def test_weighted_mean():
    frames = random_codes(EIGHT, 4)
    weights = (0.5, 1.0, 0.0, 0.25)
    light = EIGHT.table()[np.stack(frames)]
    wanted = np.average(light, axis=0, weights=weights)
    # the grid's half step of 2^-27 over the mean weight, and float32
    np.testing.assert_allclose(
        blended(BLENDS["mean"], EIGHT, frames, weights), wanted, rtol=1e-6, atol=1e-7
    )


def test_sum_passes_white():
    frames = random_codes(EIGHT, 6)
    wanted = EIGHT.table()[np.stack(frames)].sum(axis=0)
    np.testing.assert_allclose(blended(BLENDS["sum"], EIGHT, frames), wanted, rtol=1e-6, atol=1e-6)
    assert wanted.max() > 2


@pytest.mark.parametrize("encoding", [EIGHT, SIXTEEN, FLOAT])
def test_lighten_and_darken_are_exact(encoding):
    frames = random_codes(SIXTEEN if encoding is FLOAT else encoding, 7)
    if encoding is FLOAT:
        frames = [(frame / 30000).astype(np.float32) for frame in frames]
        light = np.stack(frames)
    else:
        light = encoding.table().astype(np.float32)[np.stack(frames)]
    np.testing.assert_array_equal(blended(BLENDS["lighten"], encoding, frames), light.max(0))
    np.testing.assert_array_equal(blended(BLENDS["darken"], encoding, frames), light.min(0))


@pytest.mark.parametrize("encoding", [EIGHT, SIXTEEN])
@pytest.mark.parametrize("count", [1, 2, 3, 4, 9, 13, 24, 25, 60])
def test_median_is_exact(encoding, count):
    frames = random_codes(encoding, count, seed=count)
    wanted = np.median(encoding.table()[np.stack(frames)], axis=0)
    found = blended(BLENDS["median"], encoding, frames)
    np.testing.assert_array_equal(found, wanted.astype(np.float32))


def test_median_of_two_values_lies_between_them_in_light():
    dark, bright = np.full((1, 1, 3), 0, np.uint8), np.full((1, 1, 3), 255, np.uint8)
    assert blended(BLENDS["median"], EIGHT, [dark, bright])[0, 0, 0] == 0.5


def test_median_holds_little_more_than_half_of_the_frames():
    frames = random_codes(EIGHT, 24)
    accumulator = BLENDS["median"].start(Intake(EIGHT, (1.0,) * 24), *frames[0].shape[:2])
    most = 0
    for index, frame in enumerate(frames):
        accumulator.add(frame, index=index)
        most = max(most, len(accumulator.planes) + len(accumulator.free))
    assert most == 13
    promised = BLENDS["median"].row_bytes(accumulator.intake, frames[0].shape[1])
    assert promised == most * frames[0][0].nbytes


def test_weighted_median_counts_a_heavy_frame_more():
    frames = [np.full((1, 1, 3), value, np.uint8) for value in (10, 20, 200)]
    found = blended(BLENDS["median"], EIGHT, frames, weights=(0.2, 0.2, 1.0))
    assert found[0, 0, 0] == np.float32(EIGHT.table()[200])


def test_max_takes_whole_pixels_of_the_brightest_frame():
    frames = random_codes(EIGHT, 9)
    stack = np.stack(frames)
    light = EIGHT.table()[stack]
    brightest = (light @ np.array([0.2126, 0.7152, 0.0722])).argmax(axis=0)
    wanted = np.take_along_axis(light, brightest[np.newaxis, :, :, np.newaxis], 0)[0]
    np.testing.assert_array_equal(blended(BLENDS["max"], EIGHT, frames), wanted.astype(np.float32))


def test_max_prefers_a_blue_lamp_to_grey():
    """In linear light saturated blue outshines a dark grey; in code values it would not."""
    lamp, grey = np.array([[[0, 0, 255]]], np.uint8), np.full((1, 1, 3), 60, np.uint8)
    light = blended(BLENDS["max"], EIGHT, [grey, lamp])
    np.testing.assert_array_equal(light, [[[0.0, 0.0, 1.0]]])


@pytest.mark.parametrize("ordered", [True, False])
def test_max_keeps_the_earlier_of_equals(ordered):
    # in a space where red and blue weigh alike, a red and a blue pixel are equally bright
    space = dataclasses.replace(SRGB)
    space.__dict__["luminance_weights"] = (0.25, 0.5, 0.25)
    encoding = Encoding("float32", space)
    red, blue = np.array([[[0.5, 0, 0]]], np.float32), np.array([[[0, 0, 0.5]]], np.float32)
    assert luminance(red, space.luminance_weights) == luminance(blue, space.luminance_weights)
    for earlier, later in ((red, blue), (blue, red)):
        accumulator = BLENDS["max"].start(Intake(encoding, (1.0, 1.0), ordered=ordered), 1, 1)
        accumulator.add(earlier, index=0)
        accumulator.add(later, index=1)
        np.testing.assert_array_equal(as_light(accumulator.result()), earlier)
    backwards = BLENDS["max"].start(Intake(encoding, (1.0, 1.0)), 1, 1)
    backwards.add(blue, index=1)
    backwards.add(red, index=0)
    np.testing.assert_array_equal(as_light(backwards.result()), red)


@pytest.mark.parametrize("name", ["lighten", "max"])
def test_less_weight_leaves_fainter_streaks(name):
    streak = np.full((1, 1, 3), 200, np.uint8)
    light = blended(BLENDS[name], EIGHT, [streak], weights=[0.25])
    np.testing.assert_allclose(light, EIGHT.table()[200] * 0.25, rtol=1e-6)


def noisy_frames(count, level=0.2, sigma=0.01, seed=3):
    rng = np.random.default_rng(seed)
    light = rng.normal(level, sigma, (count, 40, 40, 3))
    return [Encoder(SRGB.curve).encode(frame.astype(np.float32)) for frame in light]


def test_trimmed_mean_drops_what_a_few_frames_hold():
    frames = noisy_frames(20)
    clean = blended(BLENDS["mean"], SIXTEEN, frames[3:])
    for frame in frames[:3]:
        frame[10:20, 10:20] = 60000
    found = blended(BLENDS["trimmed"], SIXTEEN, frames)
    passing = (slice(10, 20), slice(10, 20))
    assert abs(found[passing].mean() - clean[passing].mean()) < 0.001
    assert blended(BLENDS["mean"], SIXTEEN, frames)[passing].mean() > 0.25


def test_trimmed_mean_of_plain_noise_is_nearly_the_mean():
    frames = noisy_frames(40)
    trimmed = blended(BLENDS["trimmed"], SIXTEEN, frames)
    mean = blended(BLENDS["mean"], SIXTEEN, frames)
    # values lost by chance cost little: noise at most a twentieth above the mean's
    assert trimmed.std() < 1.05 * mean.std()
    # and as many are lost above as below: no bias beyond a hundredth of one frame's noise
    assert abs(trimmed.mean() - mean.mean()) < 1e-4


def test_limits_of_the_trimmed_mean_are_in_standard_deviations():
    values = [0.2] * 6 + [0.21, 0.19] * 4 + [0.5]
    frames = [np.full((1, 1, 3), value, np.float32) for value in values]
    tight = blended(Trimmed(3, 3), FLOAT, frames)[0, 0, 0]
    assert abs(tight - 0.2) < 1e-3
    wide = blended(Trimmed(3, 1000), FLOAT, frames)[0, 0, 0]
    assert abs(wide - np.mean(values)) < 1e-6


def test_equal_frames_but_one_rounding_step_are_not_trimmed():
    frames = [np.full((1, 1, 3), value, np.uint8) for value in [100] * 9 + [101]]
    wanted = (9 * EIGHT.table()[100] + EIGHT.table()[101]) / 10
    assert abs(blended(BLENDS["trimmed"], EIGHT, frames)[0, 0, 0] - wanted) < 1e-6


@pytest.mark.parametrize("count", [1, 31, 32, 100, 1000])
@pytest.mark.parametrize("space", [SRGB, ADOBE_RGB])
def test_the_darkest_codes_of_sixteen_bits_add_up(count, space):
    encoding = Encoding("uint16", space)
    frame = np.arange(12, dtype=np.uint16).reshape(2, 2, 3)
    light = encoding.table()[frame]
    # float32 holds seven digits; the grid must not take more than a hundredth of a code
    mean = blended(BLENDS["mean"], encoding, [frame] * count)
    np.testing.assert_allclose(mean, light, rtol=0.01)
    added = blended(BLENDS["sum"], encoding, [frame] * count)
    curve = encoding.space.curve
    wanted = np.rint(curve.from_light(light * count) * 65535)
    assert np.abs(Encoder(curve).encode(added) - wanted).max() <= 1


@pytest.mark.parametrize("encoding", [SIXTEEN, Encoding("uint16", ADOBE_RGB)])
def test_every_code_of_sixteen_bits_comes_back_from_a_mean(encoding):
    ramp = np.arange(65536, dtype=np.uint16)[np.newaxis, :, np.newaxis].repeat(3, axis=2)
    codes = Encoder(encoding.space.curve).encode(blended(BLENDS["mean"], encoding, [ramp]))
    np.testing.assert_array_equal(codes, ramp)


def test_unknown_blend_names_those_there_are_and_the_nearest():
    with pytest.raises(OptionError) as caught:
        find_blend("lightem")
    text = str(caught.value)
    assert "did you mean lighten" in text
    assert all(name in text for name in BLENDS)
    with pytest.raises(ValueError, match="above 0"):
        Trimmed(0, 3)


@pytest.mark.parametrize(("count", "kind"), [(5, np.int32), (200, np.int32), (400, np.float64)])
def test_light_resampled_from_codes_is_added_in_whole_numbers_where_they_suffice(count, kind):
    """Within a 16-bit code of float64, in any order, and nothing overflows at the ceiling."""
    light = Encoding("float32", EIGHT.space)
    intake = Intake(light, (1.0,) * count, codes=EIGHT, brightest=3.0)
    rng = np.random.default_rng(4)
    frames = rng.uniform(0, 1, (7, 3, 5, 3)).astype(np.float32)
    frames[:, 0] = 3.0
    frames[:, 1] *= 0.001
    there, back = (BLENDS["mean"].start(intake, 3, 5) for _ in range(2))
    assert there.total.dtype == kind
    for number in range(count):
        there.add(frames[number % 7], index=number)
    for number in reversed(range(count)):
        back.add(frames[number % 7], index=number)
    np.testing.assert_array_equal(there.result(), back.result())
    truth = np.mean([frames[n % 7].astype(np.float64) for n in range(count)], axis=0)
    # a code of 16 bits at the dark end of sRGB
    np.testing.assert_allclose(there.result(), truth, atol=1 / 65535 / 12.92, rtol=2e-7)


def test_light_resampled_from_fine_codes_keeps_its_grid():
    sixteen = Encoding("uint16", EIGHT.space)
    light = Encoding("float32", EIGHT.space)
    intake = Intake(light, (1.0,) * 50, codes=sixteen, brightest=3.0)
    assert BLENDS["mean"].start(intake, 1, 1).total.dtype == np.float64
