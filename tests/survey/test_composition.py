"""What fills the frame and how its tones are spread, against pictures whose shares are known."""

import numpy as np
import pytest

from stacker.register.geometry import identity, translation
from stacker.survey.composition import composition_of
from stacker.survey.movers import find_movers
from stacker.survey.still_squares import (
    WHOLE,
    cover_of_result,
    places_in_frame,
    still_squares,
)
from stacker.survey.tones import ToneCounter, limits_of

# what a student may be told wrong, as a share of the frame
WITHIN = 0.03


def scene(count=20, shape=(200, 300)):
    """Return frames: the left third bare, the rest textured, a band of it in motion."""
    rng = np.random.default_rng(4)
    picture = np.full(shape, 0.4)
    picture[:, 100:] = np.kron(rng.uniform(0.2, 0.7, (50, 50)), np.ones((4, 4)))
    roots = np.repeat(picture[None], count, axis=0)
    for number, root in enumerate(roots):
        at = 100 + number * 10
        root[120:160, at : at + 10] = 0.95
    return (roots + 0.003 * rng.normal(size=roots.shape)).astype(np.float32)


def test_motion_and_emptiness_are_known_within_three_hundredths():
    movers = find_movers(scene(), 4.0, resampled=False)
    found = composition_of(movers)
    assert found.motion == pytest.approx(40 * 200 / (200 * 300), abs=WITHIN)
    assert found.empty == pytest.approx(1 / 3, abs=WITHIN)
    assert found.moving == pytest.approx(40 * 10 / (200 * 300), abs=WITHIN)
    assert found.motion + found.detail + found.empty == pytest.approx(1)


def test_squares_keep_clear_of_what_moves():
    movers = find_movers(scene(), 4.0, resampled=False)
    size = (1200, 800)
    cover = cover_of_result(movers.cover, 4, identity(), size)
    squares = still_squares(cover, 4, size)
    assert len(squares) > 50
    for y, x in squares:
        assert x + WHOLE <= 400 or y + WHOLE <= 480 or y >= 640
    # a result that shows the scene elsewhere has its squares elsewhere
    moved = still_squares(cover_of_result(movers.cover, 4, translation(0, -480), size), 4, size)
    assert all(x + WHOLE <= 400 or y >= 160 for y, x in moved)
    # and none where the survey saw nothing
    assert all(y + WHOLE <= 324 for y, x in moved)
    assert still_squares(cover, 4, (40, 800)) == []


def test_frames_show_squares_at_whole_pixels_or_not_at_all():
    places = places_in_frame([(10, 20), (700, 20)], translation(3.4, 60.6), (1200, 800))
    assert places == [(71, 23), None]
    assert places_in_frame([], identity(), (10, 10)) == []


def test_tones_are_counted_by_stops():
    light = np.zeros((8, 8, 3), np.float32)
    light[:4] = 0.26
    light[4:6] = 1.0
    counter = ToneCounter((0.25, 0.5, 0.25))
    for top in range(0, 8, 3):
        counter.add(light[top : top + 3])
    tones = counter.tones()
    assert tones.shares[tones.stops == -2].item() == pytest.approx(0.5)
    assert tones.shares.sum() == pytest.approx(1)
    assert (tones.burnt, tones.black) == (0.25, 0.25)
    assert tones.middle_stop == -2
    assert (limits_of(light)[[0, 4, 7], 0] == [0, 1, 2]).all()
