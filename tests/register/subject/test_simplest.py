"""The simplest motion that explains a burst, from fits whose noise is known."""

import numpy as np
import pytest

from stacker.register.geometry import translation
from stacker.register.scene.grey import grey_of
from stacker.register.scene.models import SHIFT, SIMILARITY
from stacker.register.subject.box import Box, outline_of
from stacker.register.subject.simplest import (
    SCATTER,
    error_px,
    needs_shift,
    needs_similarity,
)
from stacker.register.subject.template import first_template
from tests.register.subject.rides import ride_of

FRAMES, VOTES = 8, 40


@pytest.fixture(scope="module")
def template():
    burst = ride_of("pan")
    outline = outline_of(Box(*(int(side) for side in burst.box)))
    return first_template(outline, grey_of(burst.frames[0]), 1)


def information(template, deviation_px):
    """Return the information of a fit that errs by so much over the box."""
    unit = np.eye(8)
    return unit * error_px(template, unit, SHIFT) ** 2 / deviation_px**2


def similarity(scale, angle, dx=0.0, dy=0.0):
    c, s = scale * np.cos(angle), scale * np.sin(angle)
    return np.array([[c, -s, dx], [s, c, dy], [0, 0, 1.0]])


def test_the_likely_error_is_what_the_information_says(template):
    assert error_px(template, information(template, 0.05), SHIFT) == pytest.approx(0.05)
    assert SCATTER > 1


@pytest.mark.parametrize(
    ("spread", "needed"), [(0.0, False), (0.0003, False), (0.01, True), (0.2, True)]
)
def test_a_change_of_size_beyond_noise_needs_a_similarity(template, spread, needed):
    rng = np.random.default_rng(3)
    motions = [
        similarity(1 + spread * n / FRAMES, 0.0, *rng.uniform(-50, 50, 2)) for n in range(FRAMES)
    ]
    infos = [information(template, 0.03)] * FRAMES
    assert needs_similarity(template, motions, infos, VOTES) == needed


def test_a_turn_that_all_frames_share_is_the_templates_own(template):
    motions = [similarity(1.02, 0.03)] * FRAMES
    infos = [information(template, 0.03)] * FRAMES
    assert not needs_similarity(template, motions, infos, VOTES)


@pytest.mark.parametrize(("length", "needed"), [(0.0, False), (0.03, False), (0.5, True)])
def test_a_shift_beyond_noise_is_a_shift(template, length, needed):
    rng = np.random.default_rng(4)
    shifts = list(length * rng.standard_normal((FRAMES, 2)))
    infos = [information(template, 0.03)] * FRAMES
    assert needs_shift(template, shifts, infos, VOTES) == needed
    # and where the subject is known less well, as much may be noise
    infos = [information(template, 5.0)] * FRAMES
    assert not needs_shift(template, shifts, infos, VOTES)


def test_translation_has_no_turn(template):
    motions = [translation(40.0 * n, 3.0) for n in range(FRAMES)]
    infos = [information(template, 0.001)] * FRAMES
    assert not needs_similarity(template, motions, infos, VOTES)


def test_rounding_in_what_is_hardly_known_leaves_an_error_that_is_a_number(template):
    """Found in a box of 16 pixels: float32 left one direction just below nothing."""
    known = np.diag([1.8e5, 1.8e5, 8e3, -2.7e-4])
    information = SIMILARITY.basis @ known @ SIMILARITY.basis.T
    # nothing is known of that direction
    assert error_px(template, information, SIMILARITY) > 1
