"""A lighten with a true floor: sky, noise and trails of simulated nights against the truth."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.blend import Intake
from stacker.blend.clearance import learn_level_noise, line_kernels
from stacker.blend.light_sum import Mean
from stacker.blend.lighten import Lighten
from stacker.blend.noise_floor import settle
from stacker.blend.normal_maximum import (
    LOWEST_DEVIATE,
    STEPS_PER_DEVIATE,
    MaximumOfNormals,
    coded,
)
from stacker.light.encoding import Encoding, as_light
from stacker.light.space import SRGB
from tests.benchmarks.noise_floor import Night, Sky, blended, judged

SMALL = (300, 200)
NIGHTS = [
    Night("fine noise", size=SMALL, stars=4),
    Night("demosaiced", noise="soft", size=SMALL, stars=4),
    Night("few photons", noise="counts", size=SMALL, stars=4),
    Night("JPEG", jpeg=True, size=SMALL, stars=4),
]


@pytest.mark.parametrize("night", NIGHTS, ids=lambda night: night.name)
def test_a_night_keeps_its_sky_and_its_trails(night):
    """The promise: level within 3 %, noise within 20 % of the mean's, trails from SNR 5 whole."""
    sky = Sky(night)
    mean, plain, true = blended(sky, [Mean(), Lighten(), Lighten(true_floor=True)])
    figures, before = judged(sky, true, mean), judged(sky, plain, mean)
    # without it the sky is a quarter to a half too bright, so that the figures below mean something
    assert before.level > 0.2
    assert abs(figures.level) < 0.03
    assert figures.noise < 1.2
    for strength in (5, 8, 20):
        kept, plainly_kept = figures.trails[strength][0], before.trails[strength][0]
        # JPEG itself costs trails some per cent, in the plain maximum as well
        assert kept > 0.97 * min(1.0, plainly_kept)
    # seen: half the light of a trail whose peak is three times the noise of a frame
    assert figures.trails[3][0] > 0.5


def test_a_very_dark_sky_keeps_its_bright_trails():
    """Where trails have a mean level all to themselves they are no sample of noise."""
    sky = Sky(Night("dark", size=SMALL, stars=4))
    sky.still *= 0.05
    sky.brightest = sky.still.copy()
    for number in range(sky.night.frames):
        np.maximum(sky.brightest, sky.frame(number), out=sky.brightest)
    mean, true = blended(sky, [Mean(), Lighten(true_floor=True)])
    figures = judged(sky, true, mean)
    assert figures.trails[20][0] > 0.97 and figures.trails[8][0] > 0.97
    assert abs(figures.level) < 0.03


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_broad_streaks_are_kept_where_they_fill_the_neighbourhood(share):
    """Headlamps sweep over a good part of the road, or over the whole picture."""
    rng = np.random.default_rng(9)
    frames = rng.normal(25, 2, (24, 160, 200, 3))
    top = int(160 * (1 - share))
    for number in range(24):
        frames[number, top:, 8 * number : 8 * number + 12] += 150
    intake = Intake(Encoding("uint8", SRGB), (1.0,) * 24)
    plain, true = (b.start(intake, 160, 200) for b in (Lighten(), Lighten(true_floor=True)))
    for index, frame in enumerate(frames):
        codes = frame.clip(0, 255).astype(np.uint8)
        plain.add(codes, index=index)
        true.add(codes, index=index)
    # in the very corner a line lies half outside, where there is no evidence
    swept = np.s_[max(top, 2) :, 2:190]
    np.testing.assert_array_equal(true.result()[swept], as_light(plain.result())[swept])


def random_walks(count: int, shape: tuple[int, int]) -> np.ndarray:
    """Return frames without noise: a still ground, and one bright spot that moves."""
    rng = np.random.default_rng(4)
    ground = rng.uniform(0, 0.2, (*shape, 3)).astype(np.float32)
    frames = np.repeat(ground[np.newaxis], count, axis=0)
    for number in range(count):
        frames[number, number % shape[0], (3 * number) % shape[1]] = (0.9, 0.5, 0.7)
    return frames


@pytest.mark.parametrize("count", [1, 2, 5, 40])
def test_without_noise_it_is_the_plain_one(count):
    frames = random_walks(count, (37, 53))
    intake = Intake(Encoding("float32", SRGB), (1.0,) * count)
    plain, true = (b.start(intake, 37, 53) for b in (Lighten(), Lighten(true_floor=True)))
    for index, frame in enumerate(frames):
        plain.add(frame, index=index)
        true.add(frame, index=index)
    # where the mean takes over it is equal but for the grid of sums, 2^-30
    np.testing.assert_allclose(true.result(), as_light(plain.result()), rtol=1e-6, atol=2e-9)


def test_pieces_are_finished_as_one_picture():
    """Noise is learnt from all of them, and lines go on over their edges."""
    rng = np.random.default_rng(5)
    frames = rng.normal(60, 6, (12, 150, 90, 3)).clip(0, 255).astype(np.uint8)
    frames[:, 40:43, 20:60] = 200
    intake = Intake(Encoding("uint8", SRGB), (1.0,) * 12)
    blend = Lighten(true_floor=True)
    edges = [0, 1, 17, 64, 150]
    parts = [blend.start(intake, b - a, 90) for a, b in itertools.pairwise(edges)]
    whole = blend.start(intake, 150, 90)
    for index, frame in enumerate(frames):
        whole.add(frame, index=index)
        for part, (top, bottom) in zip(parts, itertools.pairwise(edges), strict=True):
            part.add(frame[top:bottom], index=index)
    joined = np.concatenate([piece.result() for piece in settle(parts)])
    np.testing.assert_array_equal(joined, whole.result())


@given(
    count=st.sampled_from([2, 3, 10, 120]),
    seed=st.integers(0, 1000),
    masked=st.booleans(),
)
@settings(max_examples=25)
def test_it_lies_between_the_mean_and_the_maximum(count, seed, masked):
    rng = np.random.default_rng(seed)
    frames = rng.integers(0, 256, (count, 11, 9, 3)).astype(np.uint8)
    valid = rng.random((11, 9)) < 0.8 if masked else None
    intake = Intake(Encoding("uint8", SRGB), (1.0,) * count, masked=masked)
    blends = [b.start(intake, 11, 9) for b in (Mean(), Lighten(), Lighten(true_floor=True))]
    for index, frame in enumerate(frames):
        for accumulator in blends:
            accumulator.add(frame, index=index, valid=valid)
    mean, greatest, true = (as_light(accumulator.result()) for accumulator in blends)
    rounding = 1e-6
    assert np.all(true >= np.minimum(mean, greatest) - rounding)
    assert np.all(true <= greatest + rounding)


@pytest.mark.parametrize("count", [2, 5, 30, 120])
def test_the_greatest_of_normal_values_against_drawn_ones(count):
    drawn = np.random.default_rng(6).standard_normal((40_000, count))
    excess = drawn.max(1) - drawn.mean(1)
    distribution = MaximumOfNormals(count)
    # the mean is exact: 40,000 draws know it to 0.004
    assert distribution.mean == pytest.approx(excess.mean(), abs=0.015)
    # the shape is taken from the greatest alone: right to 0.02 from 30 values on, roughly below
    tolerance = 0.03 if count >= 30 else 0.2
    for share in (0.05, 0.25, 0.5, 0.95):
        drawn_quantile = float(np.quantile(excess, share))
        assert distribution.quantile(share) == pytest.approx(drawn_quantile, abs=tolerance)


def test_scores_of_noise_are_normal_deviates():
    drawn = np.random.default_rng(7).standard_normal((20_000, 120))
    excess = (drawn.max(1) - drawn.mean(1)).astype(np.float32)
    scores = MaximumOfNormals(120).scores(excess) / STEPS_PER_DEVIATE + LOWEST_DEVIATE
    # the error of a mean of 20,000, and the step of the codes
    assert abs(scores.mean()) < 0.03 and abs(scores.std() - 1) < 0.03
    assert abs(((scores - scores.mean()) ** 3).mean()) < 0.1


def test_codes_of_deviates():
    assert coded(np.array([-9, -6, 12, 40], np.float32)).tolist() == [0, 0, 255, 255]
    deviates = np.linspace(-6, 12, 999).astype(np.float32)
    back = coded(deviates) / STEPS_PER_DEVIATE + LOWEST_DEVIATE
    assert np.abs(back - deviates).max() <= 0.5 / STEPS_PER_DEVIATE + 1e-5


def test_lines_have_their_centre_and_length():
    rows, columns = np.mgrid[-3:4, -3:4]
    for number, kernel in enumerate(line_kernels()):
        angle = np.pi * number / 8
        assert kernel.sum() == pytest.approx(1, abs=1e-6)
        assert (kernel * rows).sum() == pytest.approx(0, abs=1e-6)
        along = columns * np.cos(angle) + rows * np.sin(angle)
        across = rows * np.cos(angle) - columns * np.sin(angle)
        # evenly from -3 to 3 the variance is 3; bilinear sharing adds up to a half
        assert 3.0 < (kernel * along**2).sum() < 3.6
        assert (kernel * across**2).sum() < 0.4


def test_noise_is_learnt_through_passing_light():
    """Two pixels of three saw something pass; the noise told hardly changes."""
    rng = np.random.default_rng(8)
    distribution = MaximumOfNormals(60)
    drawn = rng.standard_normal((60, 200, 200, 3)).astype(np.float32)
    excess = (drawn.max(0) - drawn.mean(0)) * np.float32(0.002)
    mean = np.full(excess.shape, 0.02, np.float32)
    level = round(0.02 * 65535)
    clean = learn_level_noise(mean, excess, distribution)
    # told from the distance of two low quantiles of 40,000 values, known to some per cent
    assert 1 / clean.per_spread[level] == pytest.approx(0.002, rel=0.08)
    passed = rng.random(excess.shape[:2]) < 0.66
    excess[passed] += rng.exponential(0.02, (int(passed.sum()), 1)).astype(np.float32)
    learnt = learn_level_noise(mean, excess, distribution)
    # a quantile of a third of the pixels stands where a third as high a one stood
    assert learnt.place[level] == pytest.approx(clean.place[level], rel=0.12)
