"""Bursts as they come: gaps are bridged whatever else is done to their frames."""

import numpy as np
import pytest

import stacker
from stacker.engine import bridging
from stacker.engine import expose as exposing
from stacker.engine.memory import PassPlan
from tests.benchmarks import thinned_clip
from tests.bursts import write_moving_lamp

CLOCK = {"interval_s": 0.75, "frame_shutter_s": 0.5}
# rows in which the lamp moves
ROWS = slice(78, 82)
# of the lamp's light in the frames: a bridge of less leaves a notch that can be seen
WHOLE = 0.85


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lamp") / "burst"
    write_moving_lamp(folder)
    return folder


@pytest.fixture(scope="module")
def burst(folder):
    return stacker.open_burst(folder, **CLOCK)


@pytest.fixture(scope="module")
def whole(burst):
    return stacker.expose(burst, blend="lighten", bridge=True, workers=1)


def lamp_light(light):
    """Return the mean light of the lamp's way in the middle of the first frame."""
    return float(light[ROWS, 20:24].mean())


def gap_light(light, number):
    """Return the mean light along the lamp's way in the middle of the gap after a frame."""
    left = 10 + 36 * number + 24 + 4
    return float(light[ROWS, left : left + 4].mean())


def test_the_lamp_goes_on_through_every_gap(burst, whole):
    plain = stacker.expose(burst, blend="lighten").light
    for number in range(5):
        assert gap_light(plain, number) < 0.05
        assert gap_light(whole.light, number) > WHOLE * lamp_light(plain)
    assert whole.report["bridge"]["of_no_use"].keys() == {"the turn of the stars"}
    assert all(gap["by"] == ["lights that move"] for gap in whole.report["gaps"])
    # a gap of half a shutter holds less than the frame before it
    assert all(0 < gap["light"] < 1 for gap in whole.report["gaps"])


def test_threads_and_bands_change_nothing(burst, whole, monkeypatch):
    three = stacker.expose(burst, blend="lighten", bridge=True, workers=3)
    np.testing.assert_array_equal(three.light, whole.light)
    assert three.report["gaps"] == whole.report["gaps"]

    def in_bands(*_args, **_kwargs):
        return PassPlan((range(0, 70), range(70, 160)), 1, 0)

    monkeypatch.setattr(exposing, "plan_passes", in_bands)
    bands = stacker.expose(burst, blend="lighten", bridge=True)
    assert bands.report["passes"]["count"] == 2
    np.testing.assert_array_equal(bands.light, whole.light)


def test_a_frame_left_out_in_whatever_way_leaves_one_longer_gap(folder, burst, tmp_path):
    damaged = tmp_path / "damaged"
    write_moving_lamp(damaged)
    data = (damaged / "KP_0004.tif").read_bytes()
    (damaged / "KP_0004.tif").write_bytes(data[: len(data) // 2])
    bad = stacker.open_burst(damaged, **CLOCK)
    asked = {"blend": "lighten", "bridge": True}
    without = stacker.expose(burst, without=(4,), **asked)
    least = lamp_light(without.light)
    others = [
        stacker.expose(burst, weights=(1, 1, 1, 0, 1, 1), **asked),
        stacker.expose(bad, on_bad="skip", **asked),
    ]
    assert [gap["seconds"] for gap in without.report["gaps"]] == [0.25, 0.25, 1.0, 0.25]
    assert all(gap["bridged"] for gap in without.report["gaps"])
    # all the way past the frame that is not there
    assert float(without.light[ROWS, 106:154].mean(axis=(0, 2)).min()) > WHOLE * least
    for other in others:
        np.testing.assert_array_equal(other.light, without.light)
        assert other.report["gaps"] == without.report["gaps"]


def test_frames_without_a_gap_are_bridged_too(folder):
    touching = stacker.open_burst(folder, interval_s=0.5, frame_shutter_s=0.5)
    shot = stacker.expose(touching, blend="lighten", bridge=True)
    assert [gap["seconds"] for gap in shot.report["gaps"]] == [0.0] * 5
    # a lamp that jumps while no time passes is another lamp: nothing is made up
    assert gap_light(shot.light, 1) < 0.05
    mean = stacker.expose(touching, blend="mean", bridge=True)
    assert mean.report["bridge"]["words"].endswith("the frames follow each other without a gap")


@pytest.fixture(scope="module")
def film(folder, tmp_path_factory):
    target = tmp_path_factory.mktemp("film") / "clip.mp4"
    stacker.film(stacker.open_burst(folder, **CLOCK), target, sliding_s=0.5)
    return target


def test_what_is_taken_from_a_clip_is_made_up_for(film, capsys):
    """The benchmark, at its smallest."""
    words = [str(film), "--blend", "lighten", "--count", "5"]
    thinned_clip.compare(thinned_clip.options_of(words))
    row = capsys.readouterr().out.splitlines()[0].split("|")
    before, after = float(row[4]), float(row[5])
    # the streak of the frame that was taken away comes back; but the blend of all frames has gaps
    # of its own, which the bridge fills too: 2.5 dB were found
    assert after > before + 1.5
    assert row[-3].strip() == "2 of 2"


def test_a_clip_is_bridged_for_any_number_of_threads(film):
    clip = stacker.open_burst(film, frame_shutter_s=1 / 36)
    shots = [
        stacker.expose(clip, blend="lighten", bridge=True, workers=workers) for workers in (1, 3)
    ]
    np.testing.assert_array_equal(shots[0].light, shots[1].light)
    assert shots[0].report["bridge"]["bridged"] == 5
    assert gap_light(shots[0].light, 2) > WHOLE * lamp_light(shots[0].light)


def test_the_bridge_knows_how_many_threads_may_look(burst, monkeypatch):
    asked = []

    def choose(joins, frames, exposed, weights, counts, workers, sky):
        asked.append(workers)
        return {}

    monkeypatch.setattr(bridging, "choose_bridges", choose)
    for workers in (1, 2, 5):
        stacker.expose(burst, blend="lighten", bridge=True, workers=workers)
    # the others decode ahead
    assert asked == [1, 1, 3]
