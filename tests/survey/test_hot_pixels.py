"""Hot pixels of a burst against the places where they were put."""

import numpy as np
import pytest

from stacker.light.encoding import Encoding
from stacker.light.space import SRGB
from stacker.light.srgb import linear_to_srgb
from stacker.survey.hot_pixels import (
    MOST_PIXELS,
    cut_strips,
    find_hot_pixels,
    frames_for,
    strips_of,
)

ENCODING = Encoding("uint8", SRGB)
PLACES = {(20, 30), (150, 44), (80, 90)}


def frames_with(places, count=6, size=(160, 120)):
    """Return frames of an even grey in 8 bits with noise."""
    rng = np.random.default_rng(1)
    for _ in range(count):
        light = np.full((size[1], size[0], 3), 0.05) + rng.normal(0, 0.002, (size[1], size[0], 3))
        for x, y in places:
            light[y, x] += 0.2
        yield np.rint(linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)


def test_each_is_found_at_its_place():
    cut = [cut_strips(frame) for frame in frames_with(PLACES)]
    hot = find_hot_pixels(cut, (160, 120), ENCODING)
    assert set(hot.places) == PLACES
    assert hot.share == 1 and hot.count == 3


def test_noise_has_none():
    cut = [cut_strips(frame) for frame in frames_with(())]
    assert find_hot_pixels(cut, (160, 120), ENCODING).places == ()


def test_few_frames_tell_nothing():
    cut = [cut_strips(frame) for frame in frames_with(PLACES, count=3)]
    assert find_hot_pixels(cut, (160, 120), ENCODING) is None
    assert frames_for(3) == []


def test_of_a_large_frame_strips_are_looked_at_and_the_rest_is_reckoned():
    size = (2000, 1000)
    strips = strips_of(size)
    assert sum(rows.stop - rows.start for rows in strips) * size[0] <= MOST_PIXELS
    inside = {(100 * k + 50, strips[k].start + 5) for k in range(len(strips))}
    outside = {(333, strips[0].stop + 20)}
    cut = [cut_strips(frame) for frame in frames_with(inside | outside, count=4, size=size)]
    hot = find_hot_pixels(cut, size, ENCODING)
    assert set(hot.places) == inside
    assert hot.count == round(8 / hot.share)


@pytest.mark.parametrize("count", [4, 6, 7, 300])
def test_frames_to_look_at_lie_within_and_are_spread(count):
    chosen = frames_for(count)
    assert chosen[0] == 0 and chosen[-1] == count - 1
    assert 4 <= len(chosen) <= 6
