"""Fireworks: shells found in time, and sets of them that fill the sky without burning out."""

import itertools

import numpy as np
import pytest

from stacker.survey.shells import LightMap, Shell, choose_shells, find_shells, worth

HEIGHT, WIDTH = 24, 60


def disc(x: float, y: float, radius: float) -> LightMap:
    rows, columns = np.mgrid[:HEIGHT, :WIDTH]
    return ((columns - x) ** 2 + (rows - y) ** 2 < radius**2).astype(np.float32)


def show(*shells: tuple[int, float, float]) -> LightMap:
    """Return frames in the dark; each shell (frame, x, light) rises in one and fades in two."""
    rng = np.random.default_rng(4)
    frames = rng.normal(0.05, 0.001, (24, HEIGHT, WIDTH)).astype(np.float32)
    for start, x, light in shells:
        for later, share in enumerate((1.0, 0.5, 0.2)):
            frames[start + later] += disc(x, 12, 6) * np.float32(light * share)
    return frames


def test_shells_are_found_from_onset_to_fade():
    found = find_shells(show((2, 10, 0.8), (9, 30, 0.4), (15, 50, 0.9)))
    assert [(s.first, s.peak, s.last) for s in found] == [(2, 2, 4), (9, 9, 11), (15, 15, 17)]
    disc_share = disc(10, 12, 6).mean()
    for shell, light in zip(found, (0.8, 0.4, 0.9), strict=True):
        assert shell.extent == pytest.approx(disc_share, abs=0.005)
        # the noise of a twentieth of a percent adds a little
        assert shell.brightness == pytest.approx(light * disc_share, abs=0.001)
    assert [bool(s.bright.any()) for s in found] == [True, False, True]


def test_one_that_rises_while_another_fades_is_cut_at_the_valley():
    found = find_shells(show((5, 10, 0.8), (8, 50, 0.8)))
    assert [(s.first, s.peak, s.last) for s in found] == [(5, 5, 7), (8, 8, 10)]


def test_a_dark_night_has_no_shells():
    assert find_shells(np.full((6, HEIGHT, WIDTH), 0.1, np.float32)) == []
    assert choose_shells([], None) == []


def shell(x: float, radius: float = 6) -> Shell:
    lit = disc(x, 12, radius) > 0
    return Shell(0, 0, 0, 1.0, lit, lit)


def test_those_that_burn_each_other_out_are_not_kept_together():
    shells = [shell(12), shell(13), shell(40), shell(41)]
    assert len(choose_shells(shells, None)) == 2
    chosen = choose_shells(shells, 2)
    assert {n // 2 for n in chosen} == {0, 1}


@pytest.mark.parametrize("seed", range(8))
def test_exchanges_come_near_to_the_best_of_all_sets(seed):
    rng = np.random.default_rng(seed)
    places = zip(rng.uniform(4, WIDTH - 4, 9), rng.uniform(3, 9, 9), strict=True)
    shells = [shell(x, radius) for x, radius in places]
    values = [
        worth([shells[n] for n in numbers])
        for count in range(10)
        for numbers in itertools.combinations(range(9), count)
    ]
    found = worth([shells[n] for n in choose_shells(shells, None)])
    # greedy choice that stops early may miss a set with one more shell
    assert found >= 0.8 * max(values)
    best = max(worth([shells[n] for n in s]) for s in itertools.combinations(range(9), 3))
    assert worth([shells[n] for n in choose_shells(shells, 3)]) == best
