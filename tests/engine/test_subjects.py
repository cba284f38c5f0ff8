"""What subjects choose: the table, explicit words, and falling back where it cannot be done."""

import numpy as np
import pytest
import tifffile

import stacker
from stacker.blend import BLENDS
from stacker.engine.choosing import settings_for
from stacker.engine.settings import Settings
from stacker.engine.subjects import PRESETS
from stacker.errors import OptionError
from stacker.plan.subjects import SUBJECTS
from stacker.scenes import render_scene
from stacker.subjects import SUBJECT_TITLES
from stacker.survey.subject import OPTIONS
from tests.bursts import write_jpegs


def test_all_lists_of_subjects_are_one():
    assert list(PRESETS) == list(SUBJECTS) == list(SUBJECT_TITLES)
    # the survey names those that it can tell from a burst
    assert set(OPTIONS) - {"still"} <= set(PRESETS)
    for name, words in OPTIONS.items():
        assert words == (("--for", name) if name in PRESETS else ("--blend", "mean"))


@pytest.mark.parametrize("name", PRESETS)
def test_every_choice_is_a_setting_with_a_reason(name):
    settings = settings_for(name, {})
    usual = Settings()
    for choice in PRESETS[name].choices:
        assert choice.why and not choice.why.endswith(".")
        if choice.option == "blend":
            assert settings.blends == (choice.value,) and choice.value in BLENDS
        elif choice.value != "subject":
            assert getattr(settings, choice.option) == choice.value
            # what changes nothing need not be chosen
            assert getattr(usual, choice.option) != choice.value


def test_an_explicit_word_wins_and_is_told():
    settings = settings_for("star-trails", {"floor": "plain", "hold": None, "first": 2})
    assert (settings.floor, settings.hold, settings.first) == ("plain", None, 2)
    assert settings.bridge is True
    assert settings.subject is not None
    told = settings.subject.told()
    assert told["explicit"] == ["floor", "hold"]
    chose = {"blend": "lighten", "bridge": True, "even": "auto", "planes": "out"}
    assert told["chose"] == chose
    assert len(told["why"]) == 4 and told["why"][0].startswith("blend: ")


def test_what_does_not_go_with_an_explicit_blend_is_not_chosen():
    settings = settings_for("star-trails", {"blends": ("median",)})
    assert settings.bridge is None and settings.floor == "plain"
    assert settings.subject is not None and not settings.is_chosen("bridge")


def test_an_unknown_subject_is_refused_with_the_list():
    with pytest.raises(OptionError, match="did you mean star-trails") as caught:
        settings_for("star-trail", {})
    assert all(name in str(caught.value) for name in PRESETS)


@pytest.mark.parametrize("frames", [1, 3])
@pytest.mark.parametrize("name", PRESETS)
def test_no_subject_fails_where_a_mean_would_not(tmp_path, name, frames):
    """Frames without stars, followed things, movement; one alone."""
    write_jpegs(tmp_path / "burst", frames)
    burst = stacker.open_burst(tmp_path / "burst")
    shot = stacker.expose(burst, subject=name)
    assert shot.report["subject"]["name"] == name == shot.report["settings"]["subject"]
    assert shot.light.shape == (32, 48, 3)


def test_stars_that_are_none_leave_the_usual_mean_and_a_note(tmp_path):
    write_jpegs(tmp_path / "burst", 4)
    burst = stacker.open_burst(tmp_path / "burst")
    shot = stacker.expose(burst, subject="stars")
    np.testing.assert_array_equal(shot.light, stacker.expose(burst).light)
    assert shot.report["hold"] == "scene"
    notes = [words for words in shot.report["warnings"] if "the stars could not be held" in words]
    assert len(notes) == 1 and "frames are held as usual" in notes[0]
    with pytest.raises(stacker.BurstError):
        stacker.expose(burst, subject="stars", hold="sky")


def test_a_pan_finds_what_the_camera_followed(tmp_path):
    rng = np.random.default_rng(2)
    world = np.repeat(rng.uniform(0.1, 0.6, (320, 120)), 8, axis=1)[:, :960]
    subject = np.repeat(np.repeat(rng.uniform(0.1, 0.9, (20, 30)), 4, axis=0), 4, axis=1)
    (tmp_path / "pan").mkdir()
    for number in range(8):
        frame = np.array(world[:, 40 * number : 40 * number + 480])
        frame[120:200, 180:300] = subject
        grey = (255 * np.dstack([frame] * 3) ** 0.45).astype(np.uint8)
        tifffile.imwrite(tmp_path / "pan" / f"KP_{number:04d}.tif", grey)
    shot = stacker.expose(stacker.open_burst(tmp_path / "pan"), subject="pan")
    (note,) = [words for words in shot.report["warnings"] if "--box" in words]
    x, y, width, height = map(float, note.split("--box ")[1].split(","))
    # within two of the squares of 16 pixels by which it is found
    assert abs(x - 180) < 32 and abs(y - 120) < 32
    assert abs(x + width - 300) < 32 and abs(y + height - 200) < 32
    assert shot.report["motion_model"] == "still"
    assert shot.report["hold"] == "subject"


def test_water_is_nearer_to_one_long_shutter_than_a_plain_mean(tmp_path):
    from stacker.survey.likeness import psnr

    scene = render_scene("harbour", tmp_path, size=(240, 160), frames=8)
    truth = tifffile.imread(scene.truth_paths["exposure"])
    burst = stacker.open_burst(scene.frame_paths)
    plain = psnr(stacker.expose(burst).light, truth)
    assert psnr(stacker.expose(burst, subject="water").light, truth) >= plain
