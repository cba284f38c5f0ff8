"""The rung that suits a subject."""

import pytest

from stacker.engine.rung_for import ladder_settings, suits_subject
from stacker.engine.subjects import PRESETS
from stacker.engine.verdict import Measure, suits_best

TEXTURE = [Measure(contrast_left=each) for each in (1.0, 0.5, 0.2, 0.08, 0.05)]
STREAKS = [Measure(streak_px=each) for each in (10, 50, 90, 91, 91)]
OPEN = [0.5, 1.0, 2.0, 4.0, 8.0]


@pytest.mark.parametrize(
    ("subject", "measures", "open_s", "rung", "words"),
    [
        ("water", TEXTURE, OPEN, 3, "silk"),
        (None, TEXTURE, OPEN, 3, "silk"),
        ("traffic", STREAKS, OPEN, 2, "streaks"),
        ("stars", TEXTURE, OPEN, 4, "noise falls"),
        ("light-painting", STREAKS, OPEN, 4, "every pass"),
        ("fireworks", STREAKS, [1, 2, 4, 8, 16], 3, "2 s to 8 s"),
        ("fireworks", STREAKS, [None] * 5, 2, "streaks"),
        ("dusk", TEXTURE, [10, 20, 40, 80, 160], 2, "up to 60 s"),
        ("dusk", TEXTURE, [90, 180, 360, 720, 999], 0, "none suits"),
        ("pan", TEXTURE, [1 / 200, 1 / 100, 1 / 50, 1 / 25, 1], 3, "1/60 s to 1/8 s"),
    ],
)
def test_each_subject_has_its_rung(subject, measures, open_s, rung, words):
    number, why = suits_subject(subject, measures, open_s)
    assert number == rung and words in why


@pytest.mark.parametrize("subject", PRESETS)
def test_every_subject_makes_a_ladder_and_proposes_a_rung(subject):
    settings = ladder_settings(subject, {})
    assert settings.blends == (PRESETS[subject].choices[0].value,)
    assert not settings.bridge and settings.floor == "plain"
    assert suits_subject(subject, TEXTURE, OPEN)[1]


def test_what_was_said_wins_and_without_a_subject_nothing_changes():
    assert ladder_settings("traffic", {"blends": ("max",)}).blends == ("max",)
    assert ladder_settings("stars", {"hold": "scene"}).hold == "scene"
    assert ladder_settings(None, {}).blends == ("mean",)
    assert suits_subject(None, TEXTURE, OPEN) == suits_best(TEXTURE)
