"""The laws of ``stacker.blend.base``, for every registered blend."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.blend import BLENDS, Accumulator, Intake
from stacker.blend.lighten import Lighten
from stacker.light.curves import LINEAR
from stacker.light.encoding import Encoding
from stacker.light.space import ADOBE_RGB, SRGB
from tests.same_light import assert_same_light

ROWS, WIDTH = 19, 7  # no multiple of any block
KINDS = [
    Encoding("uint8", SRGB),
    Encoding("uint16", SRGB),
    Encoding("uint8", ADOBE_RGB),
    Encoding("uint16", SRGB, LINEAR),
    Encoding("float32", SRGB),
]


def make_frames(encoding: Encoding, count: int, seed: int) -> list[np.ndarray]:
    """Return random frames with many ties: few values, in floats beyond white and below black."""
    rng = np.random.default_rng(seed)
    if encoding.is_light:
        return [
            rng.choice(np.linspace(-0.5, 2, 9), (ROWS, WIDTH, 3)).astype(np.float32)
            for _ in range(count)
        ]
    values = rng.integers(0, encoding.top + 1, 9)
    return [rng.choice(values, (ROWS, WIDTH, 3)).astype(encoding.stored) for _ in range(count)]


# every registered blend, and lighten in its other shapes
SHAPES = {
    **BLENDS,
    "lighten, true floor": Lighten(true_floor=True),
    "lighten with a tail": Lighten(fading=tuple(k / 12 for k in range(1, 13))),
    "lighten, both": Lighten(true_floor=True, fading=tuple(1 - k / 12 for k in range(12))),
}


def start(name: str, intake: Intake) -> Accumulator:
    return SHAPES[name].start(intake, ROWS, WIDTH)


@st.composite
def plans(draw):  # type: ignore[no-untyped-def]
    """Frames, weights, masks, and two ways to split, order and merge them."""
    count = draw(st.integers(1, 12))
    encoding = draw(st.sampled_from(KINDS))
    even = draw(st.booleans())
    weight = st.sampled_from([1.0] if even else [0.0, 0.25, 0.7, 1.0])
    weights = draw(st.lists(weight, min_size=count, max_size=count))
    masked = draw(st.booleans())
    seed = draw(st.integers(0, 10**6))
    order = draw(st.permutations(range(count)))
    owners = draw(st.lists(st.integers(0, 3), min_size=count, max_size=count))
    tree = draw(st.permutations(range(4)))
    return encoding, tuple(weights), masked, seed, order, owners, tree


def masks_of(masked: bool, count: int, seed: int) -> list[np.ndarray | None]:
    rng = np.random.default_rng(seed + 1)
    return [
        rng.random((ROWS, WIDTH)) < 0.7 if masked and rng.random() < 0.8 else None
        for _ in range(count)
    ]


@pytest.mark.parametrize("name", SHAPES)
@given(plan=plans())
def test_any_split_order_and_merge_gives_the_same_picture(name, plan):
    encoding, weights, masked, seed, order, owners, tree = plan
    frames = make_frames(encoding, len(weights), seed)
    masks = masks_of(masked, len(weights), seed)
    intake = Intake(encoding, weights, masked=masked)
    alone = start(name, intake)
    for index, frame in enumerate(frames):
        alone.add(frame, index=index, valid=masks[index])
    parts = [start(name, intake) for _ in range(4)]
    for index in order:
        parts[owners[index]].add(frames[index], index=index, valid=masks[index])
    whole = parts[tree[0]]
    for other in tree[1:]:
        whole.merge(parts[other])
    assert_same_light(whole.result(), alone.result())


@pytest.mark.parametrize("name", SHAPES)
@given(plan=plans())
def test_in_order_without_memory_of_the_order(name, plan):
    """The promise of order may save memory; it changes nothing in the picture."""
    encoding, weights, masked, seed, _, owners, _ = plan
    frames = make_frames(encoding, len(weights), seed)
    masks = masks_of(masked, len(weights), seed)
    free = start(name, Intake(encoding, weights, masked=masked))
    ordered = Intake(encoding, weights, masked=masked, ordered=True)
    cut = owners[0] % (len(weights) + 1)
    early, late = start(name, ordered), start(name, ordered)
    for index, frame in enumerate(frames):
        free.add(frame, index=index, valid=masks[index])
        (early if index < cut else late).add(frame, index=index, valid=masks[index])
    early.merge(late)
    assert_same_light(early.result(), free.result())


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("encoding", KINDS)
def test_an_empty_accumulator_is_neutral(name, encoding):
    frames = make_frames(encoding, 5, 3)
    intake = Intake(encoding, (1.0,) * 5)
    plain, before, after = (start(name, intake) for _ in range(3))
    for index, frame in enumerate(frames):
        plain.add(frame, index=index)
        before.add(frame, index=index)
    before.merge(start(name, intake))
    after.merge(plain)
    assert_same_light(before.result(), plain.result())
    assert_same_light(after.result(), plain.result())


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("encoding", KINDS)
def test_frames_are_not_changed_and_results_come_again(name, encoding):
    frames = make_frames(encoding, 9, 4)
    copies = [frame.copy() for frame in frames]
    accumulator = start(name, Intake(encoding, (1.0,) * 9))
    for index, frame in enumerate(frames[:6]):
        accumulator.add(frame, index=index)
    early = accumulator.result()
    assert_same_light(accumulator.result(), early)
    for index, frame in enumerate(frames[6:], 6):
        accumulator.add(frame, index=index)
    whole = start(name, Intake(encoding, (1.0,) * 9))
    for index, frame in enumerate(frames):
        whole.add(frame, index=index)
    assert_same_light(accumulator.result(), whole.result())
    for frame, copy in zip(frames, copies, strict=True):
        np.testing.assert_array_equal(frame, copy)


@pytest.mark.parametrize("name", SHAPES)
def test_accumulators_pickle(name):
    encoding = KINDS[0]
    frames = make_frames(encoding, 6, 5)
    accumulator = start(name, Intake(encoding, (1.0,) * 6))
    for index, frame in enumerate(frames[:4]):
        accumulator.add(frame, index=index)
    thawed = pickle.loads(pickle.dumps(accumulator))
    for index, frame in enumerate(frames[4:], 4):
        accumulator.add(frame, index=index)
        thawed.add(frame, index=index)
    assert_same_light(thawed.result(), accumulator.result())


@pytest.mark.parametrize("name", [name for name in BLENDS if name != "sum"])
@pytest.mark.parametrize("encoding", KINDS)
@pytest.mark.parametrize("count", [1, 2, 7])
def test_equal_frames_give_themselves_back(name, encoding, count):
    from stacker.light.encoding import Encoder, decode

    (frame,) = make_frames(encoding, 1, 6)
    accumulator = start(name, Intake(encoding, (1.0,) * count))
    for index in range(count):
        accumulator.add(frame, index=index)
    light = accumulator.result()
    if encoding.is_light:
        # the grid of sums in floating point is 2^-36
        assert_same_light(light, frame, atol=2**-24)
        return
    from stacker.light.encoding import as_light

    encoder = Encoder(encoding.space.curve)
    given = encoder.encode(decode(frame, encoding))
    np.testing.assert_array_equal(encoder.encode(as_light(light)), given)


@pytest.mark.parametrize("name", SHAPES)
def test_where_no_frame_is_valid_the_picture_is_black(name):
    encoding = KINDS[0]
    frames = make_frames(encoding, 3, 7)
    valid = np.ones((ROWS, WIDTH), bool)
    valid[4, 2] = False
    accumulator = start(name, Intake(encoding, (1.0,) * 3, masked=True))
    for index, frame in enumerate(frames):
        accumulator.add(np.maximum(frame, 1), index=index, valid=valid)
    light = accumulator.result()
    from stacker.light.encoding import as_light

    assert not as_light(light)[4, 2].any()
    assert as_light(light)[4, 3].all()
