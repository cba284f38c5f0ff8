"""What spoils simulated bursts is told, and in clean ones it is not."""

import pytest

import stacker
from stacker.engine.subjects import PRESETS
from stacker.survey.subject import BLENDS
from tests.benchmarks.spoiled_bursts import bird, clouds, headlamp, hot_pixels, smoke
from tests.benchmarks.subjects import shoot

SIZE = (480, 320)
FRAMES = 12
TOLD = ("clouds-or-smoke", "frame-lit", "small-visitor", "hot-pixels")


def look(folder, scene, spoil=None, **shot):
    shoot(folder, scene, seed=3, size=SIZE, frames=FRAMES, spoil=spoil, **shot)
    found = stacker.survey(stacker.open_burst(folder), workers=2)
    return found, {finding.code: finding for finding in found.findings if finding.code in TOLD}


@pytest.mark.parametrize("scene", ["quay", "harbour", "road", "fireworks"])
def test_a_clean_burst_has_none_of_it(tmp_path, scene):
    found, told = look(tmp_path / "b", scene)
    assert told == {}
    assert "--hot-pixels" not in found.command()


def test_clouds_over_people_are_told_and_the_people_stay_the_subject(tmp_path):
    found, told = look(tmp_path / "b", "quay", clouds())
    assert list(told) == ["clouds-or-smoke"]
    finding = told["clouds-or-smoke"]
    assert "upper" in finding.what and finding.frames and finding.cause and finding.remedy
    assert found.measured["subject"]["name"] == "crowd"


def test_smoke_that_grows_is_told_and_fireworks_stay_the_subject(tmp_path):
    found, told = look(tmp_path / "b", "fireworks", smoke(FRAMES))
    assert list(told) == ["clouds-or-smoke"]
    assert "--last" in told["clouds-or-smoke"].remedy
    assert found.measured["subject"]["name"] == "fireworks"


def test_a_torch_in_a_night_of_stars_is_told_with_its_frames(tmp_path):
    found, told = look(tmp_path / "b", "stars", headlamp((5, 6)))
    assert list(told) == ["frame-lit"]
    assert told["frame-lit"].frames == (6, 7)
    assert [f.number for f in found.frames if f.verdict == "lit"] == [6, 7]
    assert "lower right" in told["frame-lit"].what
    assert found.measured["subject"]["name"] == "star-trails"


def test_a_bird_is_told_with_its_frame_by_hand_too(tmp_path):
    _, told = look(tmp_path / "b", "harbour", bird((4,)), tremor_px=3.0)
    assert list(told) == ["small-visitor"]
    assert told["small-visitor"].frames == (5,)
    assert "--without 5" in told["small-visitor"].remedy


def test_hot_pixels_are_counted_and_found_at_their_places(tmp_path):
    spoil, places = hot_pixels(12, SIZE)
    found, told = look(tmp_path / "b", "fireworks", spoil)
    assert list(told) == ["hot-pixels"]
    hot = found.measured["hot_pixels"]
    # before a dark sky all are seen; one before houses may drown in their texture
    assert {tuple(place) for place in hot["places"]} <= places
    assert len(places) - 2 <= hot["count"] <= len(places)
    assert "--hot-pixels mend" in found.command()


def test_the_survey_knows_what_blend_a_subject_gets():
    """The critique of a page speaks of it, and engine and survey have a table each."""
    for name, blend in BLENDS.items():
        if name in PRESETS:
            chosen = {choice.option: choice.value for choice in PRESETS[name].choices}
            assert chosen["blend"] == blend
