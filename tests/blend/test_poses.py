"""Poses over the place they share: against pictures that were put together by hand."""

import itertools

import numpy as np
import pytest

from stacker.blend import BLENDS, Intake
from stacker.blend.poses import PosesAccumulator, settle_poses
from stacker.blend.shortest_half import as_roots, learn_noise, shortest_half
from stacker.light.encoding import Encoding
from stacker.light.space import SRGB

FLOAT, EIGHT = Encoding("float32", SRGB), Encoding("uint8", SRGB)
SHAPE = (60, 80)
# in roots of light, where it is as strong in light and shadow
NOISE = 0.004
BOXES = [(slice(10, 30), slice(5 + 14 * k, 15 + 14 * k)) for k in range(5)]


def empty_place():
    rows, columns = np.mgrid[: SHAPE[0], : SHAPE[1]]
    light = 0.2 + 0.1 * np.sin(columns / 3) * np.cos(rows / 4)
    return np.repeat(light[..., np.newaxis], 3, axis=2).astype(np.float32)


def frame_with(light, seed):
    rng = np.random.default_rng(seed)
    return ((np.sqrt(light) + rng.normal(0, NOISE, light.shape)) ** 2).astype(np.float32)


def frames_with(boxes, value=(0.6, 0.1, 0.05)):
    frames = []
    for seed, box in enumerate(boxes):
        light = empty_place()
        light[box] = value
        frames.append(frame_with(light, seed))
    return frames


def laid(frames, weights=None, masks=None):
    weights = tuple(weights or (1.0,) * len(frames))
    intake = Intake(FLOAT, weights, masked=masks is not None)
    accumulator = BLENDS["poses"].start(intake, *SHAPE)
    for index, frame in enumerate(frames):
        accumulator.add(frame, index=index, valid=None if masks is None else masks[index])
    return accumulator.result()


def test_each_pose_is_that_of_its_frame_and_the_place_is_quieter_than_any():
    frames = frames_with(BOXES)
    found, place = laid(frames), empty_place()
    for frame, box in zip(frames, BOXES, strict=True):
        # in full to the last digits: a coat is far from the noise
        np.testing.assert_allclose(found[box], frame[box], atol=1e-6)
    below = found[40:] - place[40:]
    single = frames[0][40:] - place[40:]
    # five frames' mean has 1 / sqrt(5) = 0.45 of the noise
    assert below.std() < 0.5 * single.std()


def test_a_ghost_shows_by_its_visibility_in_light():
    frames = frames_with(BOXES)
    found, place = laid(frames, (1, 0.4, 1, 0.25, 1)), empty_place()
    for number, share in ((1, 0.4), (3, 0.25)):
        under = place[BOXES[number]]
        wanted = under + share * (np.array((0.6, 0.1, 0.05)) - under)
        # noise of light at 0.6: twice its root times that of the root
        assert np.abs(found[BOXES[number]] - wanted).mean() < 2 * 0.6**0.5 * NOISE


def test_later_poses_lie_over_earlier_ones():
    boxes = [*BOXES[:3], (slice(20, 40), slice(38, 50)), (slice(45, 55), slice(5, 15))]
    frames = frames_with(boxes)
    frames[3][boxes[3]] = (0.02, 0.02, 0.4)
    shared = slice(20, 30), slice(38, 43)
    found = laid(frames)
    np.testing.assert_allclose(found[shared], frames[3][shared], atol=1e-6)
    # the rest of the earlier one, two pixels away, is still there
    np.testing.assert_allclose(found[10:18, 33:43], frames[2][10:18, 33:43], atol=1e-6)


def test_no_rim_is_left_about_a_pose():
    """An edge that covers half of a pixel stays that mixture."""
    frames = []
    for seed, box in enumerate(BOXES):
        light, cover = empty_place(), np.zeros((*SHAPE, 1), np.float32)
        cover[box] = 1
        cover[box[0], box[1].start - 1] = 0.5
        frames.append(frame_with(light + cover * (np.float32((0.6, 0.1, 0.05)) - light), seed))
    found = laid(frames)
    for frame, box in zip(frames, BOXES, strict=True):
        rim = box[0], box[1].start - 1
        np.testing.assert_allclose(found[rim][1:-1], frame[rim][1:-1], atol=1e-6)


def test_restless_places_are_no_poses():
    """Water differs in every frame by more than noise: it comes out as the mean of them."""
    frames = frames_with(BOXES)
    for seed, frame in enumerate(frames):
        rng = np.random.default_rng(100 + seed)
        frame[44:] = (0.5 + rng.normal(0, 0.06, frame[44:].shape)) ** 2
    water = laid(frames)[50:]
    mean = np.mean([frame[50:] for frame in frames], axis=0)
    # a later frame over all others would lie a whole ripple away, 0.06; a tenth of that is left
    assert np.abs(water - mean).mean() < 0.006


@pytest.mark.parametrize("cuts", [(13, 29), (1, 2, 33, 59), (32,)])
def test_pieces_make_the_same_picture_bit_for_bit(cuts):
    frames = frames_with(BOXES)
    weights = (1.0, 0.4, 1.0, 1.0, 0.7)
    pieces = []
    edges = [0, *cuts, SHAPE[0]]
    for top, bottom in itertools.pairwise(edges):
        piece = PosesAccumulator(Intake(FLOAT, weights), bottom - top, SHAPE[1])
        for index in (3, 0, 4, 1, 2):
            piece.add(frames[index][top:bottom], index=index)
        pieces.append(piece)
    found = np.concatenate([piece.result() for piece in settle_poses(pieces)])
    np.testing.assert_array_equal(found, laid(frames, weights))


def test_where_a_frame_says_nothing_the_others_do():
    frames = frames_with(BOXES)
    masks = [np.ones(SHAPE, bool) for _ in frames]
    masks[2][:, 60:] = False
    frames[2][:, 60:] = 0
    masks[0][50:, :10] = masks[1][50:, :10] = masks[2][50:, :10] = False
    masks[3][50:, :10] = masks[4][50:, :10] = False
    found = laid(frames, masks=masks)
    np.testing.assert_allclose(found[BOXES[4]], frames[4][BOXES[4]], atol=1e-6)
    assert np.abs(found[35:, 60:] - empty_place()[35:, 60:]).max() < 0.05
    assert not found[50:, :10].any()


def test_noise_is_told_by_its_level_and_does_not_feel_the_poses():
    frames = np.stack(frames_with(BOXES))
    noise = learn_noise(as_roots(frames).reshape(5, -1, 3))
    # told from 14,000 values, a third of them of another light in one frame of five
    assert np.all(np.abs(noise.sigmas / NOISE - 1) < 0.25)


def test_the_shortest_half_of_few_values():
    values = np.float32([[0.1, 0.5], [0.9, 0.52], [0.12, 0.1], [0.8, 0.9], [0.11, 0.51]])
    centre, width = shortest_half(values)
    np.testing.assert_allclose(centre, [0.11, 0.51], atol=1e-6)
    np.testing.assert_allclose(width, [0.02, 0.02], atol=1e-6)
    # of two nobody knows
    np.testing.assert_allclose(shortest_half(values[:2])[0], [0.5, 0.51], atol=1e-6)


def test_equal_codes_come_back():
    frame = np.random.default_rng(3).integers(0, 256, (*SHAPE, 3)).astype(np.uint8)
    accumulator = BLENDS["poses"].start(Intake(EIGHT, (1.0,) * 4), *SHAPE)
    for index in range(4):
        accumulator.add(frame, index=index)
    # roots and back: the last digit of float32
    np.testing.assert_allclose(accumulator.result(), EIGHT.table()[frame], rtol=1e-6)
