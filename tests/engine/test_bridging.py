"""The light of the gaps comes into the picture, and nothing else changes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import cv2
import numpy as np
import pytest
import tifffile
from typer.testing import CliRunner

import stacker
from stacker.bridge import GapVerdict, Joins, Patch
from stacker.burst import Burst
from stacker.cli.app import app
from stacker.engine import bridging
from stacker.engine import expose as exposing
from stacker.engine.memory import plan_bridge
from stacker.engine.span import fading_of
from stacker.errors import OptionError
from stacker.light.encoding import CodedLight
from tests.bursts import write_jpegs

SIZE = (640, 320)
COUNT = 4


@dataclass
class MadeUp:
    """A bridge that puts the same patch into every gap but the last."""

    joins: ClassVar[Joins] = "greater"
    patch: Patch
    gaps: Sequence[GapVerdict] = (
        *[GapVerdict(True)] * (COUNT - 2),
        GapVerdict(False, "the light went out"),
    )

    def between(self, number, earlier, later):
        assert earlier.shape == later.shape == (SIZE[1], SIZE[0], 3)
        assert not np.array_equal(earlier, later)
        return [self.patch]


class MadeUpSum(MadeUp):
    joins: ClassVar[Joins] = "added"


def patch_of(value, *, top=250, left=200, size=(20, 120), sure=0.5):
    """Return a patch that lies on a seam of tiles, both ways."""
    light = np.full((*size, 3), value, np.float32)
    return Patch(top, left, light, np.full(size, sure, np.float32))


@pytest.fixture
def burst(tmp_path):
    write_jpegs(tmp_path / "burst", COUNT, size=SIZE)
    return stacker.open_burst(tmp_path / "burst")


@pytest.fixture
def with_bridges(monkeypatch):
    def put(*bridges):
        def choose(joins, frames, exposed, weights, counts, workers, sky):
            assert len(exposed) == COUNT and exposed[1].start_s - exposed[0].end_s == 1.5
            frames(0)
            return {f"kind {n}": b for n, b in enumerate(bridges) if b.joins == joins}

        monkeypatch.setattr(bridging, "choose_bridges", choose)

    return put


def expose(folder, *words):
    """Run the command in this process, where the bridges are made up."""
    lighten = ["--blend", "lighten", "--bridge", "-o", folder.parent / "out.tif"]
    return CliRunner().invoke(app, ["expose", *map(str, [folder, *lighten, *words])])


def light_of(burst, place):
    """Return the light of one frame."""
    return stacker.expose(burst, first=place + 1, last=place + 1).light.astype(np.float64)


def place_of(patch):
    height, width = patch.confidence.shape
    return slice(patch.top, patch.top + height), slice(patch.left, patch.left + width)


@pytest.mark.parametrize("workers", [1, 3])
def test_the_greater_light_stays_under_a_lighten(burst, with_bridges, workers):
    patch = patch_of(0.5)
    plain = stacker.expose(burst, blend="lighten").light
    with_bridges(MadeUp(patch))
    shot = stacker.expose(burst, blend="lighten", bridge=True, workers=workers)
    expected = plain.copy()
    expected[place_of(patch)] = np.maximum(expected[place_of(patch)], 0.5)
    assert (expected != plain).any()
    np.testing.assert_array_equal(shot.light, expected)
    np.testing.assert_array_equal(shot.bridge_map() > 0, (expected != plain).any(axis=2))
    assert set(np.unique(shot.bridge_map())) == {0, 0.5}
    assert [gap["bridged"] for gap in shot.report["gaps"]] == [True, True, False]
    assert shot.report["gaps"][2]["why"] == "the light went out"
    # the same light in both: as a share of all that the frame before the gap has
    shares = [gap["light"] for gap in shot.report["gaps"][:2]]
    whole = [light_of(burst, number).sum() for number in range(2)]
    assert shares == pytest.approx([patch.light.sum() / each for each in whole], rel=1e-5, abs=1e-6)
    told = shot.report["bridge"]
    assert told["by"] == {"kind 0": 2} and (told["bridged"], told["gaps"]) == (2, 3)
    # each of the three is rounded
    assert told["light"] == pytest.approx(sum(shares), abs=3e-6)
    assert "keeps the greatest light" in told["why"]
    words = "2 of 3 gaps were bridged, by kind 0; of the first that was not: the light went out"
    assert told["words"] == words and words in shot.report["warnings"]


def test_max_takes_the_whole_pixel_of_the_brighter_light(burst, with_bridges):
    plain = stacker.expose(burst, blend="max").light
    patch = patch_of(0.0)
    patch.light[..., 1] = 0.4
    with_bridges(MadeUp(patch))
    light = stacker.expose(burst, blend="max", bridge=True).light
    weights = np.array(burst.encoding.space.luminance_weights)
    brighter = (patch.light @ weights) > plain[place_of(patch)] @ weights
    assert brighter.any() and not brighter.all()
    expected = plain.copy()
    expected[place_of(patch)][brighter] = (0, np.float32(0.4), 0)
    np.testing.assert_array_equal(light, expected)


@pytest.mark.parametrize("blend", ["mean", "sum"])
@pytest.mark.parametrize("workers", [1, 3])
def test_light_is_added_under_a_mean_and_a_sum(burst, with_bridges, blend, workers):
    patch = patch_of(-0.03)
    plain = stacker.expose(burst, blend=blend).light
    with_bridges(MadeUpSum(patch))
    shot = stacker.expose(burst, blend=blend, bridge=True, workers=workers)
    added = -0.03 * 2 / (COUNT if blend == "mean" else 1)
    inside = np.zeros(plain.shape[:2], bool)
    inside[place_of(patch)] = True
    # float32 light near 1
    np.testing.assert_allclose(shot.light[inside], plain[inside] + added, atol=3e-7)
    np.testing.assert_array_equal(shot.light[~inside], plain[~inside])
    np.testing.assert_array_equal(shot.bridge_map() > 0, inside)


def test_added_light_counts_as_its_bridge_says(burst, with_bridges):
    patch = patch_of(0.03)
    choices = {"blend": "mean", "weights": (1, 0.5, 1, 1)}
    plain = stacker.expose(burst, **choices).light
    with_bridges(MadeUpSum(patch))
    light = stacker.expose(burst, bridge=True, **choices).light
    change = (light - plain)[place_of(patch)]
    np.testing.assert_allclose(change, 0.03 * 2 / 3.5, atol=3e-7)


def test_light_of_gaps_fades_with_a_tail(burst, with_bridges):
    with_bridges(MadeUp(patch_of(1.0)))
    choices = {"blend": "lighten", "tail_s": 8.0, "tail_to": "start"}
    shot = stacker.expose(burst, bridge=True, **choices)
    plain = stacker.expose(burst, **choices).light[place_of(patch_of(1.0))]
    settings = stacker.Settings(blends=("lighten",), tail_s=8.0, tail_to="start")
    # of the two gaps that have light the later is between the second and the third frame
    fading = np.float32(fading_of(burst, (1.0,) * COUNT, settings)[1])
    assert 0 < fading < 0.5
    expected = np.maximum(plain, fading)
    np.testing.assert_array_equal(shot.light[place_of(patch_of(1.0))], expected)


def test_nothing_to_bridge_leaves_every_bit_and_says_so(burst, with_bridges):
    with_bridges()
    for blend in ("lighten", "mean"):
        plain = stacker.expose(burst, blend=blend)
        shot = stacker.expose(burst, blend=blend, bridge=True)
        np.testing.assert_array_equal(shot.light, plain.light)
        assert not shot.is_bridged and not shot.bridge_map().any()
        assert any(w.startswith("no gap was bridged") for w in shot.report["warnings"])


def test_several_blends_get_what_is_theirs(burst, with_bridges):
    with_bridges(MadeUp(patch_of(0.5)), MadeUpSum(patch_of(0.02)))
    shots = stacker.expose_several(burst, blends=["mean", "lighten", "median"], bridge=True)
    alone = stacker.expose_several(burst, blends=["mean", "lighten", "median"])
    for name, shot in shots.items():
        change = shot.light - alone[name].light
        assert (name == "median") == (not change.any())
    assert 0 < np.abs(shots["mean"].light - alone["mean"].light).max() < 0.02
    assert not shots["median"].is_bridged
    # each report tells of the bridge of its own picture
    by = {name: list(shot.report.get("bridge", {"by": {}})["by"]) for name, shot in shots.items()}
    assert by == {"mean": ["kind 1"], "lighten": ["kind 0"], "median": []}
    assert not any("why" in gap for gap in shots["median"].report["gaps"])


def never(*_args, **_kwargs):
    raise AssertionError("a frame was read")


@pytest.mark.parametrize("choices", [{"blend": "mean"}, {"blend": "sum", "even": "auto"}])
def test_too_little_memory_for_the_bridge_is_told_before_any_pass(burst, monkeypatch, choices):
    assert stacker.expose(burst, memory=160 * 10**6, **choices).report["frames_used"] == COUNT
    monkeypatch.setattr(Burst, "decode", never)
    monkeypatch.setattr(Burst, "small_copy", never)
    with pytest.raises(OptionError, match="to bridge gaps") as caught:
        stacker.expose(burst, bridge=True, memory=160 * 10**6, workers=1, **choices)
    assert caught.value.code == "option-memory" and "--bridge" in str(caught.value)


def test_a_bridge_that_the_subject_chose_is_given_up_for_want_of_memory(burst, with_bridges):
    with_bridges(MadeUpSum(patch_of(0.5)))
    shot = stacker.expose(burst, subject="water", memory=160 * 10**6)
    plain = stacker.expose(burst, subject="water", bridge=False)
    np.testing.assert_array_equal(shot.light, plain.light)
    assert any("for want of memory" in warning for warning in shot.report["warnings"])
    enough = stacker.expose(burst, subject="water", memory=10**9)
    assert enough.is_bridged


def test_the_plan_of_a_bridge_keeps_within_the_memory():
    asked = {"frame": 100, "held": 1000}
    for memory in range(155_000_000, 190_000_000, 5_000_000):
        plan = plan_bridge(500_000, ["greater"], workers=8, memory=memory, **asked)
        assert plan.peak_bytes <= memory and 1 <= plan.looking <= 8 and 1 <= plan.workers <= 8
    assert plan.looking < 8
    wide = plan_bridge(500_000, ["greater"], workers=8, memory=10**9, **asked)
    assert (wide.looking, wide.workers) == (8, 8)
    both = plan_bridge(500_000, ["greater", "added"], workers=1, memory=10**9, **asked)
    assert (
        both.peak_bytes
        > plan_bridge(500_000, ["greater"], workers=1, memory=10**9, **asked).peak_bytes
    )


def test_pictures_that_wait_are_finished_where_that_takes_less(burst, with_bridges, monkeypatch):
    with_bridges(MadeUp(patch_of(0.5)))
    monkeypatch.setattr(exposing, "RESULT_PIXEL_BYTES", 1)
    blends = ["lighten", "median"]
    shots = stacker.expose_several(burst, blends=blends, bridge=True)
    assert all(isinstance(piece, np.ndarray | CodedLight) for piece in shots["median"].pieces)
    alone = stacker.expose(burst, blend="median")
    np.testing.assert_array_equal(shots["median"].light, alone.light)


def test_a_true_floor_is_bridged_as_well(burst, with_bridges):
    with_bridges(MadeUp(patch_of(0.7)))
    choices = {"blend": "lighten", "floor": "true"}
    whole = stacker.expose(burst, bridge=True, **choices).light
    plain = stacker.expose(burst, **choices).light
    expected = plain.copy()
    expected[place_of(patch_of(0))] = np.maximum(plain[place_of(patch_of(0))], 0.7)
    np.testing.assert_array_equal(whole, expected)


def test_bridging_needs_the_frames_shutters(tmp_path):
    for number in range(2):
        tifffile.imwrite(tmp_path / f"KP_{number}.tif", np.zeros((32, 48, 3), np.uint8))
    shot = stacker.expose(stacker.open_burst(tmp_path), blend="lighten", bridge=True)
    assert any("--frame-shutter" in warning for warning in shot.report["warnings"])
    assert not shot.report["gaps"][0]["bridged"]


def test_a_blend_without_gaps_is_refused():
    with pytest.raises(OptionError, match="median"):
        stacker.Settings(blends=("median",), bridge=True)


def test_an_error_in_a_thread_comes_out(burst, with_bridges):
    class Broken(MadeUp):
        def between(self, number, earlier, later):
            raise ValueError("broken")

    with_bridges(Broken(patch_of(1)))
    with pytest.raises(ValueError, match="broken"):
        stacker.expose(burst, blend="lighten", bridge=True, workers=2)


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_the_map_is_written(burst, with_bridges, tmp_path, suffix):
    with_bridges(MadeUp(patch_of(2.0, sure=0.25)))
    target = tmp_path / f"map{suffix}"
    done = expose(tmp_path / "burst", "--bridge-map", target)
    assert done.exit_code == 0, done.stderr
    grey = cv2.imread(str(target), cv2.IMREAD_UNCHANGED)
    assert grey.dtype == np.uint16 and grey.shape == SIZE[::-1]
    inside = np.zeros(grey.shape, bool)
    inside[place_of(patch_of(0))] = True
    np.testing.assert_array_equal(grey, np.where(inside, round(0.25 * 65535), 0))


@pytest.mark.parametrize("name", ["map.jpg", "out.tif"])
def test_a_map_that_cannot_be_written_is_refused_at_once(burst, tmp_path, name):
    done = expose(tmp_path / "burst", "--bridge-map", tmp_path / name)
    assert done.exit_code == 2 and name in done.stderr and len(done.stderr.splitlines()) == 1
    assert not (tmp_path / "out.tif").exists()
