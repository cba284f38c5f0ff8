"""Spans by way of what neighbouring frames come to are what the blends themselves give."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.blend import BLENDS, Intake
from stacker.blend.selection import median_of, middle_two
from stacker.blend.spans import STEP, SpanBlocks, SpanSums, runs_of
from stacker.light.encoding import Encoding, as_light
from stacker.light.space import SRGB

COUNT = 3 * STEP + 5
SHAPE = (5, 7, 3)
# float32 of a sum in whole grains of 2^-25: half a unit of its last digit, half a grain a frame
CLOSE = 1e-6


def frames_of(kind, seed=0, count=COUNT):
    rng = np.random.default_rng(seed)
    return [rng.integers(0, np.iinfo(kind).max + 1, SHAPE, kind) for _ in range(count)]


def by_the_blend(name, frames, places, encoding, weights=None):
    weights = weights or [1.0] * len(frames)
    used = tuple(w if p in places else 0.0 for p, w in enumerate(weights))
    blended = BLENDS[name].start(Intake(encoding, used, ordered=True), *SHAPE[:2])
    for place in places:
        blended.add(frames[place], index=place)
    return as_light(blended.result())


places_of = st.sets(st.integers(0, COUNT - 1), min_size=1).map(sorted)
spans = st.tuples(st.integers(0, COUNT - 1), st.integers(0, COUNT - 1)).map(
    lambda ends: list(range(min(ends), max(ends) + 1))
)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@given(places=st.one_of(spans, places_of), known=st.integers(0, COUNT))
def test_sums_are_the_blends(kind, places, known):
    frames, encoding = frames_of(kind), Encoding(np.dtype(kind).name, SRGB)
    sums = SpanSums(frames, encoding)
    for name, made in (("mean", sums.mean), ("sum", sums.sum)):
        truth = by_the_blend(name, frames, places, encoding)
        np.testing.assert_allclose(made(places, known=known), truth, rtol=CLOSE, atol=CLOSE)


@given(places=places_of)
def test_a_weighted_mean_is_the_blends(places):
    frames, encoding = frames_of(np.uint8), Encoding("uint8", SRGB)
    weights = [1.0 if place % 3 else 0.25 for place in range(COUNT)]
    made = SpanSums(frames, encoding, weights).mean(places, known=COUNT)
    truth = by_the_blend("mean", frames, places, encoding, weights)
    np.testing.assert_allclose(made, truth, rtol=CLOSE, atol=CLOSE)


@pytest.mark.parametrize("name", ["lighten", "darken", "max"])
@given(places=st.one_of(spans, places_of))
def test_blocks_are_the_blends_bit_for_bit(name, places):
    frames, encoding = frames_of(np.uint8), Encoding("uint8", SRGB)
    made = as_light(SpanBlocks(frames, encoding, BLENDS[name]).result(places))
    np.testing.assert_array_equal(made, by_the_blend(name, frames, places, encoding))


def test_frames_that_come_later_are_counted():
    """What is kept must not hold a frame's absence against it once it has come."""
    frames, encoding = frames_of(np.uint8), Encoding("uint8", SRGB)
    slots = [*frames[:10], *[None] * (COUNT - 10)]
    sums = SpanSums(slots, encoding)
    sums.mean(list(range(10)), known=10)
    slots[10:] = frames[10:]
    every = list(range(COUNT))
    truth = by_the_blend("mean", frames, every, encoding)
    np.testing.assert_allclose(sums.mean(every, known=COUNT), truth, rtol=CLOSE, atol=CLOSE)


def test_a_bad_frame_among_them_is_no_light():
    frames, encoding = frames_of(np.uint8), Encoding("uint8", SRGB)
    slots = [None if place == 9 else frame for place, frame in enumerate(frames)]
    places = [place for place in range(COUNT) if place != 9]
    made = SpanSums(slots, encoding).mean(places, known=COUNT)
    truth = by_the_blend("mean", frames, places, encoding)
    np.testing.assert_allclose(made, truth, rtol=CLOSE, atol=CLOSE)


def test_sums_of_white_do_not_overflow():
    encoding = Encoding("uint8", SRGB)
    # as many as int32 holds with one grain fewer than for half of them
    frames = [np.full((1, 1, 3), 255, np.uint8)] * 1025
    places = list(range(1025))
    np.testing.assert_array_equal(SpanSums(frames, encoding).sum(places, known=1025), 1025.0)


@given(places=places_of)
def test_runs_are_the_places(places):
    found = [place for first, last in runs_of(places) for place in range(first, last + 1)]
    assert found == places


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
@given(count=st.integers(1, 12), seed=st.integers(0, 99), spread=st.integers(1, 300))
def test_the_median_is_the_blends(kind, count, seed, spread):
    top = np.iinfo(kind).max
    rng = np.random.default_rng(seed)
    # near both ends too, and with many that are alike
    start = rng.integers(0, top + 1, SHAPE)
    frames = [
        np.clip(start + rng.integers(-spread, spread + 1, SHAPE), 0, top).astype(kind)
        for _ in range(count)
    ]
    encoding = Encoding(np.dtype(kind).name, SRGB)
    made = as_light(median_of(frames, encoding, 2))
    truth = by_the_blend("median", frames, range(count), encoding)
    np.testing.assert_allclose(made, truth, rtol=CLOSE, atol=CLOSE)


def test_the_middle_two_of_very_many():
    # more than an 8-bit count holds
    block = np.random.default_rng(3).integers(0, 256, (600, 40), np.uint8)
    ordered = np.sort(block, axis=0)
    lower, upper = middle_two(block)
    np.testing.assert_array_equal(lower, ordered[299])
    np.testing.assert_array_equal(upper, ordered[300])


def test_threads_do_not_change_the_median():
    frames, encoding = frames_of(np.uint8, count=8), Encoding("uint8", SRGB)
    one, four = (as_light(median_of(frames, encoding, workers)) for workers in (1, 4))
    np.testing.assert_array_equal(one, four)
