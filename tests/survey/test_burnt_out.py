"""Where frames are burnt out, against squares that were drawn white."""

import numpy as np
import pytest

from stacker.light.encoding import Encoding
from stacker.light.space import SRGB
from stacker.survey.burnt_out import MAP_CELLS, BurntOut


def frame(size, *boxes):
    pixels = np.full((size[1], size[0], 3), 100, np.uint8)
    for x, y, side in boxes:
        # one channel is enough
        pixels[y : y + side, x : x + side, 0] = 255
    return pixels


def test_any_frame_and_every_frame_are_told_apart():
    size = (200, 100)
    burnt = BurntOut(size, Encoding("uint8", SRGB))
    burnt.add(frame(size, (10, 10, 20), (100, 50, 10)))
    burnt.add(frame(size, (10, 10, 20)))
    assert burnt.anywhen == pytest.approx((400 + 100) / 20000)
    assert burnt.always == pytest.approx(400 / 20000)
    assert burnt.share[55, 105] == 0.5 and burnt.share[15, 15] == 1 and burnt.share[0, 0] == 0


def test_a_lamp_of_one_pixel_marks_a_cell_of_a_large_frame():
    size = (2600, 1300)
    burnt = BurntOut(size, Encoding("uint8", SRGB))
    burnt.add(frame(size, (1234, 567, 1)))
    assert max(burnt.share.shape) <= MAP_CELLS
    assert np.argwhere(burnt.share).tolist() == [[567 // burnt.factor, 1234 // burnt.factor]]


def test_light_is_burnt_out_from_white_on():
    burnt = BurntOut((8, 6), Encoding("float32", SRGB))
    burnt.add(np.full((6, 8, 3), 0.99, np.float32))
    assert burnt.anywhen == 0
    burnt.add(np.full((6, 8, 3), 1.2, np.float32))
    assert burnt.anywhen == 1 and burnt.always == 0


def test_a_frame_thinner_than_a_cell_is_no_fault():
    burnt = BurntOut((5000, 3), Encoding("uint8", SRGB))
    burnt.add(frame((5000, 3), (40, 0, 2)))
    assert 0 < burnt.anywhen < 0.01
