"""Dark frames held against the mean of the others."""

import numpy as np

from stacker.light.luminance import luminance
from stacker.register.scene.grey import LUMINANCE, grey_of, grey_of_mean
from tests.register.scene.frames import burst_of


def test_the_mean_of_one_frame_is_that_frame():
    light = burst_of("day").frames[0]
    one = grey_of(light)
    same = grey_of_mean(luminance(light, LUMINANCE), one.clear, one.noise)
    for level, other in zip(one.levels, same.levels, strict=True):
        np.testing.assert_array_equal(level, other)
    assert (one.noise, one.mean_light) == (same.noise, same.mean_light)
