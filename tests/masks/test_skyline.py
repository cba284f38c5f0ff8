"""The best path, held against trying all of them."""

import itertools

import numpy as np
import pytest

from stacker.masks.skyline import LEAP, STEP, _best_path


def worth(score, path):
    steps = np.abs(np.diff(path))
    return score[path, np.arange(len(path))].sum() - np.minimum(STEP * steps, LEAP).sum()


@pytest.mark.parametrize("seed", range(20))
def test_no_path_is_better(seed):
    rng = np.random.default_rng(seed)
    height, width = 6, 4
    score = rng.normal(0, rng.choice([0.1, 1.0, 6.0]), (height, width))
    best = max(
        worth(score, np.array(path)) for path in itertools.product(range(height), repeat=width)
    )
    assert worth(score, _best_path(score)) == pytest.approx(best, abs=1e-9)
