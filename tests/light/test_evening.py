"""Gains found in what keeps still: made frames whose gains are known."""

import numpy as np
import pytest

from stacker.light.encoding import Encoding
from stacker.light.evening import (
    cells_factor,
    log_cells,
    robust_centre,
    still_reference,
    where_values_agree,
)
from stacker.light.flicker import judge_evenness
from stacker.light.space import SRGB
from stacker.light.srgb import linear_to_srgb

ROWS, COLUMNS = 40, 60
FLOATS = Encoding("float32", SRGB)
BYTES = Encoding("uint8", SRGB)
NOISE = 0.01


@pytest.fixture
def rng():
    return np.random.default_rng(4)


def made(rng, count, changes):
    """Return a still picture under the given changes (N, 3), with noise, as log light."""
    still = rng.uniform(-4, -1, (ROWS, COLUMNS, 3))
    noise = NOISE * rng.standard_normal((count, ROWS, COLUMNS, 3))
    return (still + noise + changes[:, None, None, :]).astype(np.float32)


def flicker(rng, count, size=0.04):
    changes = np.repeat(size * rng.standard_normal((count, 1)), 3, axis=1)
    return changes - changes.mean(axis=0)


def measured(frames, encoding=FLOATS):
    times = np.arange(len(frames), dtype=float)
    reference = still_reference(list(frames), times, encoding)
    whole = np.stack([reference.gains_of(f, t) for f, t in zip(frames, times, strict=True)])
    halves = np.stack([reference.halves_of(f, t) for f, t in zip(frames, times, strict=True)])
    return whole - np.median(whole, axis=0), halves, times


def error(found, changes):
    off = found - changes
    return float(np.sqrt(((off - off.mean(axis=0)) ** 2).mean()))


def test_flicker_of_a_still_picture(rng):
    changes = flicker(rng, 24)
    found, _, _ = measured(made(rng, 24, changes))
    # 2400 cells of 1 % noise: 0.02 %, and the reference adds a fifth of that
    assert error(found, changes) < 0.0005


@pytest.mark.parametrize(("share", "limit"), [(0.3, 0.003), (0.5, 0.006)])
def test_walkers_darker_than_what_they_hide(rng, share, limit):
    changes = flicker(rng, 24)
    frames = made(rng, 24, changes)
    hidden = rng.random((24, ROWS // 4, COLUMNS // 4)) < share
    hidden = hidden.repeat(4, axis=1).repeat(4, axis=2)
    frames[hidden] += rng.uniform(-1.5, 0.3, (np.count_nonzero(hidden), 1)).astype(np.float32)
    found, _, _ = measured(frames)
    assert error(found, changes) < limit


def test_water_that_glitters_over_half_of_the_picture(rng):
    changes = flicker(rng, 24)
    frames = made(rng, 24, changes)
    frames[:, ROWS // 2 :] += rng.exponential(0.3, (24, ROWS // 2, COLUMNS, 1)).astype(np.float32)
    found, _, _ = measured(frames)
    assert error(found, changes) < 0.003


@pytest.mark.parametrize("spread", [0.0, 0.4])
def test_a_lamp_switched_on_over_almost_half_of_the_picture(rng, spread):
    changes = flicker(rng, 24)
    frames = made(rng, 24, changes)
    lit = frames[12:, : int(0.45 * ROWS)]
    lit += 0.6 + (spread * rng.uniform(-1, 1, lit.shape[1:])).astype(np.float32)
    found, _, _ = measured(frames)
    assert error(found, changes) < 0.003


def test_dusk_over_the_larger_part_while_lamps_shine_on(rng):
    """Sky and lamps part ways by two stops; what flickers is the light of both."""
    count = 96
    changes = flicker(rng, count)
    frames = made(rng, count, changes)
    dusk = -np.log(2) * 2 * np.linspace(0, 1, count) ** 1.5
    frames[:, : int(0.6 * ROWS)] += dusk[:, None, None, None].astype(np.float32)
    found, halves, times = measured(frames)
    evened = judge_evenness(found, halves, times, keep_slow=True)
    left = changes[:, 0] + np.log(evened.gains[:, 0])
    # what is left from frame to frame; the slow part is free
    assert np.std(np.diff(left)) < 0.1 * np.std(np.diff(changes[:, 0]))


def test_a_cast_of_one_channel_is_told_from_a_common_change(rng):
    changes = flicker(rng, 20)
    found, halves, times = measured(made(rng, 20, changes))
    assert not judge_evenness(found, halves, times, keep_slow=True).coloured
    changes[:, 2] += 0.03 * rng.standard_normal(20)
    found, halves, times = measured(made(rng, 20, changes))
    tinted = judge_evenness(found, halves, times, keep_slow=False)
    assert tinted.coloured
    left = changes + np.log(tinted.gains)
    assert np.std(left, axis=0).max() < 0.001


def test_many_stops_apart(rng):
    changes = np.repeat(np.linspace(-1.5, 1.5, 12)[:, None], 3, axis=1)
    found, _, _ = measured(made(rng, 12, changes))
    assert error(found, changes) < 0.001


def test_cells_at_either_end_of_the_scale_do_not_count():
    light = np.full((64, 64, 3), 0.2)
    light[:16] = 1.0
    light[16:32] = 0.0
    light[32:36, ::8] = 1.0  # one pixel of 32
    cells = log_cells(np.rint(255 * linear_to_srgb(light)).astype(np.uint8), BYTES, 16)
    assert np.isnan(cells[:3]).all()
    # half a code at this light
    np.testing.assert_allclose(cells[3], np.log(0.2), atol=0.01)
    floats = log_cells(light.astype(np.float32), FLOATS, 16)
    np.testing.assert_array_equal(np.isnan(floats), np.isnan(cells))


@pytest.mark.parametrize("size", [(6000, 4000), (4000, 6000), (320, 240), (30, 20)])
def test_small_copies_are_small(size):
    factor = cells_factor(size)
    assert max(size) / factor <= 192
    assert factor == 1 or max(size) / factor >= 96


def test_the_centre_is_that_of_the_narrow_peak(rng):
    values = np.concatenate([rng.normal(0.1, 0.01, 400), rng.uniform(-1, 2, 600)])
    noise = np.full(1000, 0.01, np.float32)
    assert robust_centre(values.astype(np.float32), noise) == pytest.approx(0.1, abs=0.003)
    assert np.isnan(robust_centre(np.full(1000, np.nan, np.float32), noise))


def test_where_values_agree_knows_nothing_of_what_is_nan(rng):
    values = np.full((10, 2), np.nan, np.float32)
    values[:5, 0] = [1.0, 1.01, 1.02, 1.03, 9.0]
    assert where_values_agree(values)[0] == pytest.approx(1.015, abs=1e-5)
    assert np.isnan(where_values_agree(values)[1])
