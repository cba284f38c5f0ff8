"""Frames of which only a part has something to say."""

import numpy as np

from stacker.register import LocalCorrection, Warp
from stacker.register.geometry import identity, translation
from stacker.register.masked_warp import MaskedWarp

WIDTH, HEIGHT = 60, 40


def masked(to_reference, mask, to_mask=None, local=None):
    return MaskedWarp(
        to_reference, (WIDTH, HEIGHT), local, mask=mask,
        to_mask=identity() if to_mask is None else to_mask,
    )  # fmt: skip


def upper(rows):
    mask = np.zeros((HEIGHT, WIDTH), np.uint16)
    mask[:rows] = 65535
    return mask


def test_the_mask_goes_with_the_frame():
    """A frame moved down by five rows has its skyline five rows further down."""
    valid = masked(translation(0, 5), upper(20)).valid(0, HEIGHT)
    assert not valid[:5].any()
    assert valid[5:25].all()
    assert not valid[25:].any()


def test_the_mask_is_that_of_another_view():
    """The frame's own skyline lies three rows above that of the view."""
    valid = masked(identity(), upper(20), to_mask=translation(0, 3)).valid(0, HEIGHT)
    assert valid[:17].all()
    assert not valid[17:].any()


def test_a_local_correction_counts():
    nodes = {"x": np.array([0.0, 59.0]), "y": np.array([0.0, 39.0])}
    local = LocalCorrection(**nodes, dx=np.zeros((2, 2)), dy=np.full((2, 2), 4.0))
    valid = masked(identity(), upper(20), local=local).valid(0, HEIGHT)
    assert valid[4:24].all()
    assert not valid[24:].any()


def test_rows_do_not_depend_on_how_they_are_cut():
    warp = masked(translation(1.3, -2.7), upper(23))
    whole = warp.valid(0, HEIGHT)
    np.testing.assert_array_equal(
        whole, np.concatenate([warp.valid(top, top + 8) for top in range(0, HEIGHT, 8)])
    )
    assert warp.is_masked
    assert not Warp(identity(), (WIDTH, HEIGHT)).is_masked
