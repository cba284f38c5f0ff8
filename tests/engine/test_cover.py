"""What all frames saw: the largest rectangle in what every one of them covers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.engine.cover import Region, common_region
from stacker.errors import BurstError


def spans(*rows: tuple[int, int]) -> np.ndarray:
    return np.array(rows, np.int64)


def test_frames_that_cover_all_leave_all():
    whole = spans(*[(0, 7)] * 5)
    assert common_region([whole, whole], 7) == Region(range(5), range(7))


def test_two_shifted_frames_leave_what_both_saw():
    one = spans((0, 7), (0, 7), (0, 5), (0, 5))
    two = spans((7, 7), (2, 7), (2, 7), (2, 7))
    # rows 1 to 3, columns 2 to 4; row 1 alone would have only five pixels
    assert common_region([one, two], 7) == Region(range(1, 4), range(2, 5))


def test_frames_that_share_nothing_are_refused():
    with pytest.raises(BurstError, match="no part of the picture"):
        common_region([spans((0, 3)), spans((3, 7))], 7)


@given(st.lists(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=7))
def test_no_other_rectangle_is_larger(rows):
    covered = spans(*[(min(row), max(row)) for row in rows])
    best = 0
    for top in range(len(rows)):
        for bottom in range(top + 1, len(rows) + 1):
            left, right = covered[top:bottom, 0].max(), covered[top:bottom, 1].min()
            best = max(best, (bottom - top) * max(0, right - left))
    if best == 0:
        with pytest.raises(BurstError):
            common_region([covered], 6)
        return
    region = common_region([covered], 6)
    width, height = region.size
    assert width * height == best
    for row in region.rows:
        assert covered[row, 0] <= region.columns.start
        assert region.columns.stop <= covered[row, 1]
