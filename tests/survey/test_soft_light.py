"""Clouds, smoke and lamps from aside, drawn into blocks whose truth is known."""

import numpy as np
import pytest

from stacker.survey.soft_light import (
    BLOCKS,
    aside_of,
    block_side,
    blocks_of,
    find_lit,
    find_veil,
)

ROWS, COLUMNS = 11, 16
# a block of 20 x 20 pixels has a median that scatters by a sixteenth of their noise
NOISE = 0.0005


def still(frames, seed=1):
    rng = np.random.default_rng(seed)
    ground = rng.uniform(0.2, 0.7, (ROWS, COLUMNS))
    return (ground + rng.normal(0, NOISE, (frames, ROWS, COLUMNS))).astype(np.float32)


def veil_in(blocks, indices=None, rough=0.0):
    """Look for a veil where the pixels of each block change alike, or by ``rough`` unlike."""
    indices = range(len(blocks)) if indices is None else indices
    return find_veil(blocks, np.full_like(blocks, rough), indices, 20, NOISE)


def drifting(blocks, change):
    """Lay a soft hill into the upper four rows that goes from left to right."""
    frames = len(blocks)
    columns = np.arange(COLUMNS)
    for number in range(frames):
        # a block a frame: what is quicker is gone before it can be told from something solid
        middle = COLUMNS / 2 + number - frames / 2
        blocks[number, :4] *= 1 + change * np.exp(-0.5 * ((columns - middle) / 2.5) ** 2)
    return blocks


def test_nothing_is_found_where_nothing_changes():
    assert veil_in(still(16)) is None
    assert find_lit(still(16), range(16), 20) == ()


@pytest.mark.parametrize("frames", [8, 24])
def test_a_veil_is_found_where_it_drifts(frames):
    veil = veil_in(drifting(still(frames), -0.15), range(100, 100 + frames))
    assert veil is not None
    # it passes all of the upper four rows, or half of them
    passed = min(1.0, (frames + 5) / COLUMNS)
    assert veil.share == pytest.approx(passed * 4 / 11, abs=0.06)
    assert veil.box[1] == 0 and veil.box[3] == 80
    # the root of light changes by 15 percent: 2 log2(1 / 0.85) = 0.47 stops, less at the rim
    assert 0.25 < veil.stops < 0.55
    # it drifts: no pattern stands still and grows
    assert veil.in_step < 0.98
    assert set(veil.indices) <= set(range(100, 100 + frames))
    assert veil.blocks[:4].mean() > 0.8 * passed and not veil.blocks[5:].any()


def test_a_lamp_that_dims_is_in_step():
    blocks = still(16)
    blocks[:, :4] *= np.linspace(1, 0.8, 16)[:, None, None]
    assert veil_in(blocks.astype(np.float32)).in_step > 0.98


def test_what_leaves_from_one_frame_to_the_next_is_solid():
    blocks = still(16)
    blocks[9:, 2:6, 3:9] += 0.2
    assert veil_in(blocks) is None


def test_where_nothing_stays_it_is_no_veil():
    blocks = still(16)
    ramp = 1 + 0.3 * np.sin(np.arange(16) / 3)[:, None, None]
    assert veil_in((blocks * ramp).astype(np.float32)) is None


def test_a_part_that_is_lit_in_a_frame_or_two_is_found():
    blocks = still(20)
    blocks[(7, 8), 7:10, 11:15] += 0.1
    lit = find_lit(blocks, range(20), 20)
    assert [each.index for each in lit] == [7, 8]
    assert lit[0].share == pytest.approx(12 / (ROWS * COLUMNS))
    assert lit[0].box == (220, 140, 80, 60)
    # and it is no veil
    assert veil_in(blocks) is None


def test_a_lamp_that_shines_for_long_belongs_to_the_place():
    blocks = still(20)
    blocks[5:13, 7:10, 11:15] += 0.1
    assert find_lit(blocks, range(20), 20) == ()


def test_few_frames_tell_nothing():
    blocks = still(5)
    blocks[2, 7:10, 11:15] += 0.1
    assert find_lit(blocks, range(5), 20) == ()
    assert veil_in(blocks) is None


def test_blocks_are_medians_and_unknown_where_any_pixel_is():
    root = np.full((213, 320), 0.3, np.float32)
    # a walker on less than half of a block does not change it
    root[5:15, 2:18] = 0.9
    root[205:, 300:] = np.nan
    root[190:195, 310:] = np.nan
    blocks, rough = blocks_of(root, np.full_like(root, 0.3))
    assert block_side(root.shape) == 320 // BLOCKS
    assert blocks.shape == (213 // 20, 16)
    assert blocks[0, 0] == np.float32(0.3)
    assert np.isnan(blocks[9, 15]) and np.isfinite(blocks[:9]).all()
    # though what it did there is not soft
    assert rough[0, 0] > 0.5 and not rough[1:9].any()


def test_pixels_that_change_unlike_are_rough():
    still_picture = np.full((40, 320), 0.3, np.float32)
    root = still_picture + 0.1
    root[:20, 0:10] += 0.2
    _, rough = blocks_of(root, still_picture)
    # half of the first block has changed otherwise than the other half
    assert rough[0, 0] == pytest.approx(0.2) and not rough[0, 1:].any()


def test_cars_and_surf_are_no_veil_however_slowly_they_go():
    blocks = drifting(still(24), -0.15)
    assert veil_in(blocks, rough=0.01) is not None
    assert veil_in(blocks, rough=0.06) is None


def test_a_veil_covers_its_blocks_and_their_rim():
    veil = veil_in(drifting(still(16), -0.15))
    aside = aside_of(veil, (225, 320))
    assert aside.shape == (225, 320)
    assert aside[:80].mean() > 0.95 and not aside[120:].any()
