"""Where frames looked, by motions that are known."""

import numpy as np
import pytest

from stacker.register import BurstMotion, FrameMotion
from stacker.register.geometry import identity, translation
from stacker.survey.shake import moments_touched, place_of, places_of, stand_of, straightness

SIZE = (600, 400)


def burst(motions, model="similarity", **facts):
    frames = [
        FrameMotion(motion, None, 0.0, True, None, agreement=1.0, sharpness=1.0, **facts)
        for motion in motions
    ]
    return BurstMotion(0, model, frames)


def stand(motions, model="similarity"):
    motion = burst(motions, model)
    return stand_of(motion, places_of(motion, SIZE), SIZE)


def turned(degrees):
    """Return a turn about the centre of the picture."""
    c, s = np.cos(np.deg2rad(degrees)), np.sin(np.deg2rad(degrees))
    x, y = (SIZE[0] - 1) / 2, (SIZE[1] - 1) / 2
    return np.array([[c, -s, x - c * x + s * y], [s, c, y - s * x - c * y], [0, 0, 1]])


def test_a_shift_is_a_shift():
    place = place_of(translation(3, -4), SIZE)
    assert (place.x_px, place.y_px, place.shake_px) == pytest.approx((3, -4, 5))
    assert place.turn_deg == pytest.approx(0)


def test_a_turn_about_the_centre_leaves_it_there():
    place = place_of(turned(1.5), SIZE)
    assert place.turn_deg == pytest.approx(1.5)
    assert place.shake_px == pytest.approx(0, abs=1e-9)


def test_stands():
    still = [identity()] * 4
    assert stand(still, "still") == "tripod"
    assert stand([identity(), identity(), translation(2, 0)], "stretches") == "touched"
    assert stand([identity(), translation(9, 0), translation(-7, 3)]) == "handheld"
    assert stand([translation(60.0 * n, 0) for n in range(4)]) == "moving"
    assert stand_of(None, [], SIZE) == "unknown"


def test_a_touch_is_told_by_the_first_frame_after_it():
    places = [place_of(translation(x, 0), SIZE) for x in (0, 0, 1, 1)]
    assert moments_touched([places[0], None, *places[1:]]) == [3]


def test_a_pan_goes_straight_and_a_hand_does_not():
    pan = [place_of(translation(10 * n, n), SIZE) for n in range(5)]
    hand = [place_of(translation(x, 0), SIZE) for x in (0, 5, -3, 4, 1)]
    assert straightness(pan) == pytest.approx(1)
    assert straightness(hand) < 0.1
    assert straightness([None, pan[0]]) == 0


def test_where_a_frame_looked_that_agrees_with_nothing_is_not_told():
    motion = BurstMotion(
        0, "shift", [FrameMotion(translation(9, 9), None, 0, False, "gone", 0.1, 1.0)]
    )
    assert places_of(motion, SIZE) == [None]
