"""A window that slides is, bit for bit, a fresh blend of the frames in it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.blend import Intake, find_blend
from stacker.blend.sliding import QueuedWindow, SummedWindow, window_of
from stacker.light.encoding import Encoding, as_light
from stacker.light.space import SRGB

SHAPE = (4, 6, 3)
BLENDS = ("mean", "sum", "lighten", "max", "darken")


def frames_of(stored: str, count: int) -> list[np.ndarray]:
    rng = np.random.default_rng(7)
    if stored == "float32":
        return [rng.random(SHAPE, dtype=np.float32) for _ in range(count)]
    # few codes, so that ties are many
    return [rng.integers(0, 6, SHAPE).astype(stored) for _ in range(count)]


@settings(max_examples=40, deadline=None)
@given(
    name=st.sampled_from(BLENDS),
    stored=st.sampled_from(["uint8", "uint16", "float32"]),
    masked=st.booleans(),
    moves=st.lists(st.booleans(), max_size=24),
)
def test_any_moves_give_what_a_fresh_blend_gives(name, stored, masked, moves):
    frames = frames_of(stored, 24)
    rng = np.random.default_rng(8)
    valid = [rng.random(SHAPE[:2]) > 0.3 if masked else None for _ in frames]
    intake = Intake(Encoding(stored, SRGB), (1.0,) * len(frames), masked=masked, ordered=True)
    blend = find_blend(name)
    window = window_of(blend, intake, *SHAPE[:2])
    first = last = 0
    for comes in moves:
        if comes or last - first <= 1:
            window.push(frames[last], index=last, valid=valid[last])
            last += 1
        else:
            assert window.drop() == first
            first += 1
        fresh = blend.start(intake, *SHAPE[:2])
        for index in range(first, last):
            fresh.add(frames[index], index=index, valid=valid[index])
        assert np.array_equal(as_light(window.result()), as_light(fresh.result()))


def test_a_long_session_leaves_nothing_behind():
    """Five thousand frames in and out: what is left is the last three, to the bit."""
    frames = frames_of("float32", 5)
    count = 5000
    intake = Intake(Encoding("float32", SRGB), (1.0,) * count, ordered=True)
    window = window_of(find_blend("mean"), intake, *SHAPE[:2])
    for index in range(count):
        window.push(frames[index % 5], index=index)
        if index >= 3:
            window.drop()
    fresh = find_blend("mean").start(intake, *SHAPE[:2])
    for index in range(count - 3, count):
        fresh.add(frames[index % 5], index=index)
    assert np.array_equal(window.result(), fresh.result())


@pytest.mark.parametrize("name", BLENDS)
def test_sums_are_taken_off_and_others_queue(name):
    intake = Intake(Encoding("uint8", SRGB), (1.0,) * 3, ordered=True)
    kind = SummedWindow if name in ("mean", "sum") else QueuedWindow
    assert isinstance(window_of(find_blend(name), intake, 2, 2), kind)
