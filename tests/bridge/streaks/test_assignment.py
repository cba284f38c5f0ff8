"""Pairs of least total cost, against trying all of them."""

from itertools import permutations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from stacker.bridge.streaks.assignment import assign


def best_by_trial(cost, alone):
    """Return the least total cost: pairs, and ``alone`` for each row without one."""
    rows, columns = cost.shape
    places = list(range(columns)) + [columns] * rows
    padded = np.concatenate([cost, np.full((rows, 1), alone)], axis=1)
    return min(
        sum(padded[row, place] for row, place in enumerate(chosen))
        for chosen in set(permutations(places, rows))
    )


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 4), st.integers(1, 4), st.integers(0, 10**6))
def test_no_other_pairs_cost_less(rows, columns, seed):
    rng = np.random.default_rng(seed)
    cost = rng.uniform(0, 10, (rows, columns))
    cost[rng.random(cost.shape) < 0.3] = np.inf
    pairs = assign(cost, 6.0)
    assert len({row for row, _ in pairs}) == len({column for _, column in pairs}) == len(pairs)
    total = sum(cost[pair] for pair in pairs) + 6.0 * (rows - len(pairs))
    assert np.isclose(total, best_by_trial(cost, 6.0))


def test_nobody_is_forced():
    assert assign(np.array([[9.0, 2.0], [np.inf, 1.0]]), 5.0) == [(1, 1)]
    assert assign(np.zeros((0, 3)), 5.0) == []
