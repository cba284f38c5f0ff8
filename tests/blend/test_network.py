"""Networks pick the ranks they promise, for every size in use."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.blend.network import dropping_network, run_network, sorting_network


def run(network, values):
    arrays = [np.array(row) for row in values]
    wires, _ = run_network(network, arrays, np.empty_like(arrays[0]))
    return np.stack([wires[wire] for wire in network.kept])


@pytest.mark.parametrize("wires", range(1, 40))
def test_sorts(wires):
    values = np.random.default_rng(wires).integers(0, 9, (wires, 50)).astype(np.uint8)
    np.testing.assert_array_equal(run(sorting_network(wires), values), np.sort(values, axis=0))


def test_sorts_zeros_and_ones():
    """Knuth's zero-one principle: a network that sorts these sorts everything."""
    wires = 12
    values = (np.arange(1 << wires)[np.newaxis] >> np.arange(wires)[:, np.newaxis]) & 1
    np.testing.assert_array_equal(run(sorting_network(wires), values), np.sort(values, axis=0))


@given(data=st.data())
def test_drops_just_the_extremes(data):
    wires = data.draw(st.integers(1, 30))
    lowest = data.draw(st.integers(0, wires - 1))
    highest = data.draw(st.integers(0, wires - 1 - lowest))
    seed = data.draw(st.integers(0, 999))
    values = np.random.default_rng(seed).integers(0, 20, (wires, 40)).astype(np.uint8)
    kept = run(dropping_network(wires, lowest, highest), values)
    wanted = np.sort(values, axis=0)[lowest : wires - highest]
    np.testing.assert_array_equal(np.sort(kept, axis=0), wanted)
