"""What a teacher would say of results whose figures are given."""

import pytest

from stacker.survey.composition import Composition
from stacker.survey.findings import Finding
from stacker.survey.fine_detail import Comparison
from stacker.survey.lessons import MEANINGS, MOST, lessons_of
from stacker.survey.records import FrameRecord, Survey
from stacker.survey.result_lessons import praise_of
from stacker.survey.review import BurstReview, ResultReview
from stacker.survey.timing import rhythm_of
from stacker.survey.tones import ToneCounter

FLASH = Finding("frame-flash", "problem", "KP_0002.jpg is lit all over.", "A flash.", "", (2,))
GAPS = Finding("gaps", "note", "The shutter was open for 50% of the time.", "It waits.")


def burst(*findings, stand="tripod", subject="water", shares=None, options=()):
    records = tuple(FrameRecord(n, f"KP_{n:04d}.jpg", n, 0.5, 0.5) for n in range(1, 13))
    rhythm = rhythm_of([r.start_s for r in records], [r.shutter_s for r in records])
    measured = {
        "light": {"drift_stops": 0.0, "flicker": 0.0, "flicker_seen": False},
        "subject": {"name": subject, "confidence": "clearly", "reasons": []},
    }
    survey = Survey(
        "stacker", records, (60, 40), rhythm, stand, 1, "still", findings, options,
        measured=measured,
    )  # fmt: skip
    return BurstReview(survey, None, shares)


def result(*, blend="mean", out=(), bridged=False, model="still", **figures):
    frames = [{"number": n, "name": f"KP_{n:04d}.jpg", "used": n not in out} for n in range(1, 13)]
    report = {
        "settings": {"blend": blend, "floor": "plain", "bridge": bridged},
        "frames": frames,
        "frames_used": 12 - len(out),
        "gaps": [{"seconds": 0.5, "bridged": bridged}],
        "motion_model": model,
        "hold": "scene",
    }
    tones = ToneCounter((0.2, 0.7, 0.1)).tones()
    return ResultReview(report, tones, tones, Comparison(**figures), "", 12**0.5, ["KP_0003.jpg"])


def told(*args):
    return {lesson.code: lesson for lesson in lessons_of(*args)}


def test_a_flash_is_told_by_what_became_of_it():
    kept = told(burst(FLASH), result())["frame-flash"]
    assert kept.severity == "problem"
    assert "--without 2" in kept.now
    gone = told(burst(FLASH), result(out=(2,)))["frame-flash"]
    assert gone.severity == "note"
    assert "left out" in gone.now


def test_gaps_that_were_bridged_are_no_lesson_but_praise():
    assert "--bridge" in told(burst(GAPS), result())["gaps"].now
    assert "gaps" not in told(burst(GAPS), result(bridged=True))
    assert any("bridged" in words for words in praise_of(burst(GAPS), result(bridged=True)))


@pytest.mark.parametrize("model, code", [("identity", "soft-still"), ("homography", "soft-held")])
def test_softness_is_told_with_its_cause(model, code):
    found = told(burst(stand="handheld"), result(model=model, sharpness=0.5, sharpest=0))
    assert "50 %" in found[code].what and "KP_0003.jpg" in found[code].what
    assert found[code].next_time
    assert not told(burst(), result(sharpness=0.97, sharpest=0))


def test_noise_and_lifted_nights_are_told():
    assert "noise-stays" in told(burst(), result(noise_gain=2.0))
    assert "noise-stays" not in told(burst(), result(noise_gain=3.3))
    lifted = told(burst(subject="stars"), result(blend="lighten", lift_stops=0.5))["dark-lifted"]
    assert "--floor true" in lifted.now
    assert "3.3" in " ".join(praise_of(burst(), result(noise_gain=3.3)))


def test_how_the_frame_is_filled():
    still = Composition(0.01, 0.0, 0.6, 0.39, None)
    assert "little-motion" in told(burst(shares=still), result())
    bare = Composition(0.1, 0.0, 0.1, 0.8, None)
    assert "mostly-empty" in told(burst(shares=bare), result())
    assert "mostly-empty" not in told(burst(shares=bare, subject="star-trails"), result())


def test_another_blend_is_suggested_for_another_subject():
    assert "other-blend" in told(burst(options=("--blend", "lighten")), result())
    assert "other-blend" not in told(burst(options=("--blend", "mean")), result(blend="sum"))


def test_lessons_are_few_whole_sentences_and_the_worst_come_first():
    every = [Finding(code, "note", "So it is.", "Thus.", "", (1,)) for code in MEANINGS]
    found = lessons_of(burst(*every, FLASH), result(sharpness=0.5, sharpest=0))
    assert len(found) == MOST
    ranks = ["problem", "caution", "note"]
    order = [ranks.index(lesson.severity) for lesson in found]
    assert order == sorted(order)
    for lesson in found:
        for words in (lesson.what, lesson.why, lesson.next_time):
            assert words.endswith(".")
