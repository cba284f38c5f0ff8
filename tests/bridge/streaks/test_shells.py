"""The sparks of a shell go on alike: one scale and one shift tie those of two frames."""

import numpy as np
import pytest

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.canvas import own_parts
from stacker.bridge.streaks.shells import find_shells
from stacker.bridge.streaks.streak import End, Streak

EXPOSED = (Exposed(0.0, 1.0), Exposed(1.2, 1.0))
DRAG, FALL = 2.0, 60.0
CENTRE = np.array([300.0, 200.0])


def place(speed, age):
    flown = (1 - np.exp(-DRAG * age)) / DRAG
    return CENTRE + speed * flown + np.array([0.0, FALL / DRAG]) * (age - flown)


def streak_of(speed, first, last):
    line = np.array([place(speed, age) for age in np.linspace(first, last, 30)], np.float32)
    ends = []
    for tip, before in ((line[0], line[1]), (line[-1], line[-2])):
        out = (tip - before) / np.hypot(*(tip - before))
        light = np.array([0.3, 0.2, 0.1], np.float32)
        ends.append(End(tip, out.astype(np.float32), 0.0, 2.0, light, False))
    return Streak(line, float(np.hypot(*np.diff(line, axis=0).T).sum()), tuple(ends))


def frames_of(count, opens_s):
    rng = np.random.default_rng(4)
    speeds = rng.normal(0, 110, (count, 2))
    ages = ((0.02, 1 - opens_s), (1.2 - opens_s, 2.2 - opens_s))
    return [[streak_of(speed, *age) for speed in speeds] for age in ages]


@pytest.mark.parametrize("opens_s", [0.2, 0.6])
def test_a_shell_is_found_by_its_law(opens_s):
    one, two = frames_of(30, opens_s)
    (shell,) = find_shells(one, two, *EXPOSED)
    leave, come = (
        np.array([streak.ends[end].place for streak in frame], float)
        for frame, end in ((one, 1), (two, 0))
    )
    # tips are exact here: what remains is float32 and pairs found by chance
    np.testing.assert_allclose(shell.carried(leave), come, atol=0.5)
    np.testing.assert_allclose(shell.back(come), leave, atol=0.5)


def test_streaks_without_a_law_are_no_shell():
    rng = np.random.default_rng(6)
    one, two = frames_of(30, 0.2)
    for streaks in (one, two):
        for number, streak in enumerate(streaks):
            aside = rng.uniform(-200, 200, 2).astype(np.float32)
            ends = tuple(
                End(end.place + aside, end.heading, end.turn, end.width, end.light, end.cut)
                for end in streak.ends
            )
            streaks[number] = Streak(streak.line + aside, streak.length, ends)
    assert find_shells(one, two, *EXPOSED) == []


def test_neighbours_share_the_light_that_is_seen():
    """Two streaks of one width on one place have half of it each, one far away has all of its."""
    starts = np.array([[50, 50], [50, 50], [50, 90]], float)
    headings = np.tile([1.0, 0.0], (3, 1))
    ones = np.ones(3)
    parts = own_parts(starts, headings, 2 * ones, 20 * ones, 4 * ones, 0.3 * ones)
    np.testing.assert_allclose(parts, [0.5, 0.5, 1.0], atol=1e-3)
