"""Light painting by passes: found, left out, dimmed and tinted against the truth; as pages."""

import numpy as np
import pytest
import tifffile

import stacker
from stacker.engine.stroke_change import StrokeChange, stroke_changes
from stacker.engine.stroke_pages import write_pages
from stacker.errors import OptionError
from stacker.finish import Tone
from stacker.light.lamp_gains import TINTS, LampGains, tint_gains
from stacker.light.space import SRGB
from stacker.light.srgb import srgb_to_linear
from stacker.survey.likeness import psnr
from stacker.survey.strokes import find_strokes
from tests.benchmarks.painted_night import PASSES, PaintedNight

NIGHT = PaintedNight()
ONE = (1.0,)
WARM = tint_gains("warm", SRGB.luminance_weights)


@pytest.fixture(scope="module")
def burst(tmp_path_factory):
    folder = tmp_path_factory.mktemp("night") / "burst"
    NIGHT.write(folder)
    return stacker.open_burst(folder)


def painted(burst, *words):
    return stacker.expose(
        burst, subject="light-painting", bridge=False, passes=stroke_changes(words)
    )


def test_passes_are_found_and_told(burst):
    shot = painted(burst)
    told = shot.report["lamp_passes"]
    assert [(each["first"], each["last"]) for each in told] == [
        (f"KP_{frames[0] + 1:04d}.jpg", f"KP_{frames[-1] + 1:04d}.jpg") for frames, _ in PASSES
    ]
    words = "3 passes of the lamp: 1 in frames 3 to 6, 2 in frames 9 to 11, 3 in frames 14 to 15"
    assert words in shot.report["warnings"]
    assert shot.report["frames_used"] == 17


@pytest.mark.parametrize(
    ("words", "factors"),
    [
        ((), (ONE, ONE, ONE)),
        (("2=off",), (ONE, (0.0,), ONE)),
        (("1=0.5", "3=off"), ((0.5,), ONE, (0.0,))),
        (("3=0.5,warm",), (ONE, ONE, tuple(0.5 * each for each in WARM))),
    ],
    ids=["as they are", "one off", "one dimmed, one off", "one dimmed and tinted"],
)
def test_changed_passes_are_near_the_truth(burst, words, factors):
    truth = NIGHT.truth(factors)
    # noise lifts a lighten of 17 frames
    assert psnr(painted(burst, *words).light, truth) > 33
    if words:
        assert psnr(painted(burst).light, truth) < psnr(painted(burst, *words).light, truth) - 4


def test_a_pass_that_is_off_has_no_frames(burst):
    report = painted(burst, "2=off").report
    out = [number for number, frame in enumerate(report["frames"]) if not frame["used"]]
    assert tuple(out) == PASSES[1][0]
    assert any("2 in frames 9 to 11 (off)" in words for words in report["warnings"])


def test_pages_are_the_scene_and_each_pass_and_lightened_they_are_the_picture(burst, tmp_path):
    shot = painted(burst, "2=off")
    target = tmp_path / "pages.tif"
    assert write_pages(shot.painted, target, tone=Tone()) == 3
    with tifffile.TiffFile(target) as file:
        assert [page.description for page in file.pages] == [
            "the scene without the lamp", "pass 1", "pass 3",
        ]  # fmt: skip
        pages = np.stack([page.asarray() for page in file.pages])
        assert all(page.tags[34675].value == SRGB.icc for page in file.pages)
    assert pages.dtype == np.uint16 and pages.shape[1:] == shot.light.shape
    light = srgb_to_linear(pages.max(axis=0) / 65535)
    # the picture has the greatest of all unlit frames, the first page their mean: noise of 0.2 %
    assert np.abs(light - shot.light).max() < 0.02
    bright = shot.light.max(axis=2) > 0.2
    np.testing.assert_allclose(light[bright], shot.light[bright], atol=2e-5)
    with pytest.raises(stacker.OutputError):
        write_pages(shot.painted, target, tone=Tone())


@pytest.mark.parametrize(
    "wrong", ["4", "0=off", "a=off", "2=", "2=pink", "2=0.5,0.7", "2=-1", "2=nan"]
)
def test_what_says_nothing_is_refused(wrong):
    with pytest.raises(OptionError, match="--pass") as caught:
        stroke_changes([wrong])
    assert caught.value.code == "option-pass"


def test_a_pass_that_is_not_there_or_named_twice_is_refused(burst):
    with pytest.raises(OptionError, match="3 passes of the lamp were found"):
        painted(burst, "4=off")
    with pytest.raises(OptionError, match="twice"):
        stroke_changes(["2=off", "2=0.5"])
    assert stroke_changes(["3=0.5,warm"]) == (StrokeChange(3, 0.5, "warm"),)


def test_a_lamp_that_comes_on_elsewhere_begins_a_pass():
    frames = np.zeros((6, 60, 90), np.float32)
    frames[1, 10:14, 10:14] = 1
    frames[2, 12:16, 14:18] = 1
    frames[3, 40:44, 70:74] = 1
    strokes = find_strokes(frames)
    assert [(each.first, each.last) for each in strokes] == [(1, 2), (3, 3)]
    assert find_strokes(np.zeros((4, 20, 20), np.float32)) == []


def test_gains_change_what_is_above_the_scene_and_a_grey_keeps_its_luminance():
    scene = np.full((5, 4, 3), 0.1, np.float32)
    light = scene + np.float32(0.4)
    LampGains(scene, {7: (0.5, 1.0, 0.0)})(light, 7)
    np.testing.assert_allclose(light[0, 0], [0.3, 0.5, 0.1], rtol=1e-6)
    before = light.copy()
    LampGains(scene, {7: (0.5, 1.0, 0.0)})(light, 6)
    np.testing.assert_array_equal(light, before)
    for tint in TINTS:
        assert np.dot(tint_gains(tint, SRGB.luminance_weights), SRGB.luminance_weights) == (
            pytest.approx(1.0)
        )
