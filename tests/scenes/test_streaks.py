"""Streaks: their energy, their width and that they show no beads."""

from __future__ import annotations

import numpy as np
import pytest

from stacker.scenes.glow import with_glow
from stacker.scenes.streaks import LampLayer, cut_paths, cut_tracks

WHITE = np.array([1.0, 0.8, 0.4])


def straight_streak(speed: float, slope: float = 0.3, sigma: float = 0.8) -> np.ndarray:
    """Return the streak of a lamp of power 1 that moves for one second."""
    pieces = cut_paths(0.0, 1.0, np.array([speed]))
    x = 10.3 + speed * pieces.time_s / np.hypot(1, slope)
    y = 12.7 + slope * (x - 10.3)
    layer = LampLayer(120, 60)
    layer.add(x, y, WHITE * pieces.span_s[:, None])
    return layer.spread(sigma)


@pytest.mark.parametrize("speed", [0.0, 0.2, 3.0, 17.0, 80.0])
def test_energy_does_not_depend_on_speed(speed: float) -> None:
    total = straight_streak(speed).sum(axis=(0, 1))
    # The blur's kernel is cut at some sigmas and summed in float32.
    assert total == pytest.approx(WHITE, rel=1e-4)


def test_energy_does_not_depend_on_the_number_of_steps() -> None:
    def track(owner: np.ndarray, t: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return 60 + 40 * np.sin(t), 30 + 12 * np.cos(2 * t)

    def streak(cell_s: float) -> np.ndarray:
        pieces = cut_tracks(track, 1, 0.0, 3.0, cell_s=cell_s)
        layer = LampLayer(120, 60)
        layer.add(*track(pieces.owner, pieces.time_s), WHITE * pieces.span_s[:, None])
        return layer.spread(0.9)

    coarse, fine = streak(0.25), streak(0.01)
    assert coarse.sum() == pytest.approx(3 * WHITE.sum(), rel=1e-4)
    assert fine.sum() == pytest.approx(coarse.sum(), rel=1e-5)
    # Same path, same speed: the pictures agree to a few thousandths of the brightest pixel.
    assert np.abs(coarse - fine).max() < 0.02 * fine.max()


def test_brightness_is_power_over_speed() -> None:
    slow, fast = straight_streak(30.0, slope=0.0), straight_streak(90.0, slope=0.0)
    assert slow[:, 25].sum() == pytest.approx(3 * fast[:, 25].sum(), rel=0.01)


@pytest.mark.parametrize("slope", [0.0, 0.05, 0.3, 1.0])
def test_streak_has_no_beads(slope: float) -> None:
    """Across the path, each column holds the same light and the same width."""
    streak = straight_streak(60.0, slope)[:, :, 0]
    columns = np.arange(18, 40)
    column_light = streak[:, columns].sum(axis=0)
    assert np.ptp(column_light) < 0.004 * column_light.mean()
    rows = np.arange(60)[:, None]
    centre = (streak[:, columns] * rows).sum(axis=0) / column_light
    width = (streak[:, columns] * (rows - centre) ** 2).sum(axis=0) / column_light
    assert np.ptp(width) < 0.01 * width.mean()


def test_still_lamp_is_a_gaussian_of_the_sigma_asked_for() -> None:
    layer = LampLayer(41, 41)
    layer.add(np.array([20.37]), np.array([19.81]), np.ones((1, 3)))
    spot = layer.spread(1.5)[..., 0].astype(np.float64)
    row, column = np.mgrid[:41, :41]
    assert (spot * column).sum() == pytest.approx(20.37, abs=1e-3)
    assert (spot * row).sum() == pytest.approx(19.81, abs=1e-3)
    assert (spot * (column - 20.37) ** 2).sum() == pytest.approx(1.5**2, rel=0.01)


def test_lamp_outside_the_picture_spreads_into_it_and_a_far_one_is_left_out() -> None:
    layer = LampLayer(30, 20)
    layer.add(np.array([-1.0]), np.array([10.0]), np.ones((1, 3)))
    # A little more than a sixth of it: what lies beyond half a pixel inside.
    assert 0.1 < layer.spread(1.5)[..., 0].sum() < 0.5
    before = layer.spread(1.5)
    layer.add(np.array([-500.0, 1e6]), np.array([10.0, -1e6]), np.ones((2, 3)))
    assert np.array_equal(layer.spread(1.5), before)


def test_a_lamp_that_is_out_gives_no_piece() -> None:
    pieces = cut_paths(np.array([0.0, 2.0]), np.array([1.0, 2.0]), np.array([4.0, 4.0]))
    assert set(pieces.owner) == {0}
    assert pieces.span_s.sum() == pytest.approx(1.0)


def test_glow_adds_up_and_only_adds() -> None:
    rng = np.random.default_rng(3)
    a, b = (rng.random((40, 60, 3), dtype=np.float32) for _ in range(2))
    both = with_glow(a + b, 0.6)
    assert both == pytest.approx(with_glow(a, 0.6) + with_glow(b, 0.6), rel=1e-4)
    assert (both >= a + b).all()
