"""Where the subject may be: the highest peak is where it is."""

import numpy as np
import pytest

from stacker.register.geometry import apply, translation
from stacker.register.scene.grey import grey_of
from stacker.register.subject.box import Box, outline_of
from stacker.register.subject.search import moved_to, peaks
from stacker.register.subject.template import first_template
from tests.register.subject.rides import ride_of

# the level searched is coarse: a peak is right to a pixel of it, and half of one more
NEAR_PX = 1.5


@pytest.mark.parametrize("levels", [1, 2, 3])
def test_the_highest_peak_is_where_the_subject_is(levels):
    burst = ride_of("fast subject")
    first, later = (grey_of(burst.frames[number]) for number in (0, 5))
    outline = outline_of(Box(*(int(side) for side in burst.box)))
    template = first_template(outline, first, min(levels, len(first.levels)))
    start = translation(outline.around.left, outline.around.top)
    best = peaks(template, later, start, None, 3)[0]
    want = np.linalg.inv(burst.to_reference[5]) @ start
    apart = apply(best.to_frame, [outline.middle]) - apply(want, [outline.middle])
    assert np.hypot(*apart[0]) < NEAR_PX * 2**template.coarsest


def test_nothing_is_searched_beyond_reach():
    burst = ride_of("fast subject")
    first, later = (grey_of(burst.frames[number]) for number in (0, 5))
    outline = outline_of(Box(*(int(side) for side in burst.box)))
    template = first_template(outline, first, 1)
    start = translation(outline.around.left, outline.around.top)
    for peak in peaks(template, later, start, 30.0, 3):
        off = apply(peak.to_frame, [outline.middle]) - apply(start, [outline.middle])
        # two pixels about it are searched, so that a peak at the edge is one
        assert np.abs(off).max() <= 30 + 2


def test_a_motion_is_moved_to_a_place():
    turned = np.array([[1.1, -0.1, 5], [0.1, 1.1, -7], [0, 0, 1.0]])
    moved = moved_to(turned, (10.0, 20.0), (33.0, 44.0))
    np.testing.assert_allclose(apply(moved, [(10.0, 20.0)]), [(33.0, 44.0)], atol=1e-9)
    np.testing.assert_array_equal(moved[:2, :2], turned[:2, :2])
