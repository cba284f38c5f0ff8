"""What belongs to the subject, and light that is taken out."""

import numpy as np

from stacker.register.scene.grey import grey_of
from stacker.register.subject.box import Box, outline_of
from stacker.register.subject.template import first_template, holds, mask_of, matched, within_box
from tests.register.subject.rides import ride_of


def template():
    burst = ride_of("pan")
    outline = outline_of(Box(*(int(side) for side in burst.box)))
    return first_template(outline, grey_of(burst.frames[0]), 1)


def test_gain_and_offset_are_taken_out_though_a_third_has_changed():
    grey = template().grey
    value = grey.levels[0] * np.float32(0.7) + np.float32(0.1)
    third = value.shape[1] // 3
    value[:, :third] = 0.9
    back = matched(value, np.ones_like(value), grey)
    # a code of 8 bits is 0.004 in roots of light
    np.testing.assert_allclose(back[:, third:], grey.levels[0][:, third:], atol=0.002)


def test_pixels_that_change_do_not_belong():
    made = template()
    value = made.grey.levels[0]
    change = np.zeros_like(value)
    change[:, : value.shape[1] // 2] = 0.15
    held = holds(value, change, made.grey.noise)
    # within the half window of the mean over neighbours both are mixed
    edge = value.shape[1] // 2
    assert not held[:, : edge - 4].any()
    assert held[:, edge + 4 :].all()
    mask = mask_of(made.outline, held)
    assert mask.sum() < within_box(made.outline).sum()
    assert not (mask & ~within_box(made.outline)).any()


def test_a_mask_that_leaves_nothing_is_no_mask():
    outline = template().outline
    none = np.zeros((outline.around.height, outline.around.width), np.uint8)
    np.testing.assert_array_equal(mask_of(outline, none), within_box(outline))


def test_a_box_at_the_edge_of_the_picture_has_a_template():
    frame = grey_of(ride_of("pan").frames[0])
    width, height = frame.size
    for box in (Box(0, 0, 90, 61), Box(width - 90, height - 61, 90, 61)):
        outline = outline_of(box)
        made = first_template(outline, frame, 2)
        assert made.grey.size == outline.size
        part = frame.levels[0][box.top : box.top + 61, box.left : box.left + 90]
        x, y = box.left - outline.around.left, box.top - outline.around.top
        np.testing.assert_array_equal(made.grey.levels[0][y : y + 61, x : x + 90], part)
