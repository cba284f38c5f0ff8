"""Odd frames of the sky are told by what they show."""

from dataclasses import replace

import pytest

from stacker.register.sky.verdict import SkyLook, sky_verdicts

GOOD = SkyLook(
    background=0.01, stars=100, known=90, expected=95.0, clear=1.0, long=0.8, wide=0.75,
    placed=True,
)  # fmt: skip


def verdict_on(**changes):
    *others, odd = sky_verdicts([GOOD] * 6 + [replace(GOOD, **changes)])
    assert others == [None] * 6
    return odd


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"background": 0.0001, "stars": 0, "known": 0}, "black"),
        ({"stars": 12, "known": 10}, "clouds"),
        ({"known": 70, "clear": 0.1}, "clouds"),
        ({"long": 2.5}, "trailed"),
        ({"long": 2.5, "wide": 2.0}, "focus"),
        ({"known": 2}, "bumped"),
        ({"placed": False, "known": 0}, "bumped"),
        ({"placed": False, "stars": 3, "known": 0}, "clouds"),
        ({"placed": False, "stars": 40, "known": 3}, "clouds"),
    ],
)
def test_odd_frames_are_left_out(changes, word):
    assert word in verdict_on(**changes)


@pytest.mark.parametrize(
    "changes",
    [
        {"stars": 60, "known": 55},  # clouds over a third
        {"clear": 0.6},  # haze
        {"background": 0.03},  # the moon rises
        {"long": 1.0, "wide": 0.9},  # the focus breathes
    ],
)
def test_good_frames_are_kept(changes):
    assert verdict_on(**changes) is None
