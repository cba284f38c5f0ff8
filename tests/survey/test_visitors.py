"""Small things that pass once, against frames into which they were drawn."""

import numpy as np

from stacker.survey.movers import find_movers
from stacker.survey.visitors import find_visitors


def sky(frames, seed=1):
    rng = np.random.default_rng(seed)
    return (0.6 + rng.normal(0, 0.003, (frames, 200, 300))).astype(np.float32)


def found_in(roots):
    movers = find_movers(roots, 2.0, resampled=False)
    return find_visitors(enumerate(roots), movers)


def test_an_empty_sky_has_none():
    assert found_in(sky(12)) == ()


def test_a_bird_is_found_in_its_frames():
    roots = sky(12)
    roots[4, 30:34, 50:60] = 0.2
    roots[5, 34:38, 100:110] = 0.2
    visitors = found_in(roots)
    assert [(each.index, each.box) for each in visitors] == [
        (4, (100, 60, 20, 8)),
        (5, (200, 68, 20, 8)),
    ]


def test_people_who_come_and_go_are_no_visitors():
    roots = sky(12)
    for number in range(12):
        roots[number, 150:170, 20 * number : 20 * number + 8] = 0.2
    assert found_in(roots) == ()


def test_what_steps_in_from_aside_is_none():
    roots = sky(12)
    roots[4, 30:50, 0:6] = 0.2
    assert found_in(roots) == ()


def test_faint_glitter_is_none():
    roots = sky(12)
    roots[4, 30:34, 50:60] += 0.02
    assert found_in(roots) == ()
