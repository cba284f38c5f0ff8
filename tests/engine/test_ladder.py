"""A ladder's rungs are the exposures of their spans, from one pass."""

from dataclasses import replace

import numpy as np
import pytest

from stacker.bridge import GapVerdict, Patch
from stacker.burst import open_burst
from stacker.engine import Settings, bridging, expose_burst, ladder_burst, save_rungs, save_sheet
from stacker.engine import ladder as ladder_module
from stacker.engine import ladder_pass as ladder_pass_module
from stacker.errors import FrameError, OptionError, StackerError
from tests.bursts import write_jpegs, write_moving_lamp

COUNTS = [1, 2, 4, 8, 11]
# the sum's grid is that of all frames: a quarter of a 16-bit code at the darkest code
GRID = 2.0**-20


@pytest.fixture(scope="module")
def burst(tmp_path_factory):
    folder = tmp_path_factory.mktemp("ladder")
    write_jpegs(folder / "burst", 11, size=(160, 96))
    return open_burst([str(folder / "burst")])


@pytest.mark.parametrize("blend", ["mean", "lighten", "max", "median", "darken", "sum", "trimmed"])
def test_every_rung_is_the_exposure_of_its_frames(burst, blend):
    ladder = ladder_burst(burst, Settings(blends=(blend,)))
    assert [rung.frames for rung in ladder.rungs] == COUNTS
    for rung in ladder.rungs:
        alone = expose_burst(burst, Settings(blends=(blend,), last=rung.frames))[blend]
        if blend in ("mean", "sum"):
            error = np.abs(rung.shot.light - alone.light).max()
            assert error <= GRID * (rung.frames if blend == "sum" else 1)
        else:
            assert np.array_equal(rung.shot.light, alone.light)
        assert rung.shot.open_s == alone.open_s
        assert rung.shot.report["frames"] == alone.report["frames"]
        assert rung.shot.report["settings"]["last"] == rung.frames


@pytest.mark.parametrize("blend", ["mean", "median"])
def test_workers_and_bands_change_nothing(burst, blend, monkeypatch):
    one = ladder_burst(burst, Settings(blends=(blend,), workers=1))
    three = ladder_burst(burst, Settings(blends=(blend,), workers=3))
    plan = ladder_pass_module.plan_passes

    def in_bands(*args, **kwargs):
        whole = plan(*args, **kwargs)
        return replace(whole, bands=(range(0, 32), range(32, 96)))

    monkeypatch.setattr(ladder_pass_module, "plan_passes", in_bands)
    bands = ladder_burst(burst, Settings(blends=(blend,)))
    for other in (three, bands):
        for rung, same in zip(one.rungs, other.rungs, strict=True):
            assert np.array_equal(rung.shot.light, same.shot.light)
            assert rung.measure == same.measure


def test_a_bad_frame_is_as_if_it_had_never_been(tmp_path):
    write_jpegs(tmp_path / "burst", 7, size=(160, 96))
    broken = tmp_path / "burst" / "KP_0004.jpg"
    broken.write_bytes(broken.read_bytes()[:900])
    with pytest.raises(FrameError):
        ladder_burst(open_burst([str(tmp_path / "burst")]), Settings())
    skipped = ladder_burst(open_burst([str(tmp_path / "burst")]), Settings(on_bad="skip"))
    assert [rung.frames for rung in skipped.rungs] == [1, 2, 4, 6]
    broken.unlink()
    without = ladder_burst(open_burst([str(tmp_path / "burst")]), Settings())
    for rung, same in zip(skipped.rungs, without.rungs, strict=True):
        assert np.array_equal(rung.shot.light, same.shot.light)


def test_times_of_ones_own_and_a_span(burst):
    ladder = ladder_burst(burst, Settings(first=3), shutters_s=[0.5, 3])
    assert [(rung.label, rung.frames) for rung in ladder.rungs] == [("1/2", 1), ("3 s", 6)]
    assert ladder.rungs[-1].shot.report["settings"]["first"] == 3
    assert ladder.report["rungs"][1]["contrast_left"] == ladder.rungs[1].measure.contrast_left
    single = ladder_burst(burst, Settings(), shutters_s=[0.1])
    assert [rung.frames for rung in single.rungs] == [1]


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        (Settings(last=1), "one frame"),
        (Settings(blends=("lighten",), floor="true"), "--floor true"),
        (Settings(blends=("mean", "max")), "--blend mean,max"),
        (Settings(blends=("poses",)), "--blend poses"),
        (Settings(ramp_in_s=1.0), "--ramp-in"),
    ],
)
def test_what_makes_no_ladder_is_refused_in_one_sentence(burst, settings, word):
    with pytest.raises(StackerError, match=word) as error:
        ladder_burst(burst, settings)
    assert str(error.value).count(". ") == 0


def test_a_time_beyond_the_burst_is_refused(burst):
    with pytest.raises(OptionError, match=r"5\.5 s in all"):
        ladder_burst(burst, Settings(), shutters_s=[1, 30])


@pytest.fixture(scope="module")
def night(tmp_path_factory):
    """Return a burst in which a lamp moves over textured ground, of frames with gaps."""
    folder = tmp_path_factory.mktemp("night")
    write_moving_lamp(folder)
    return open_burst([str(folder)], interval_s=0.75, frame_shutter_s=0.5)


@pytest.mark.parametrize("blend", ["lighten", "max"])
def test_every_rung_is_bridged_as_the_burst_of_its_frames(night, blend, monkeypatch):
    plain = ladder_burst(night, Settings(blends=(blend,)))
    one = ladder_burst(night, Settings(blends=(blend,), bridge=True, workers=1))
    plan = ladder_pass_module.plan_passes

    def in_bands(*args, **kwargs):
        return replace(plan(*args, **kwargs), bands=(range(0, 64), range(64, 160)))

    monkeypatch.setattr(ladder_pass_module, "plan_passes", in_bands)
    bands = ladder_burst(night, Settings(blends=(blend,), bridge=True, workers=3))
    changed = 0
    for rung, same, before in zip(one.rungs, bands.rungs, plain.rungs, strict=True):
        settings = Settings(blends=(blend,), last=rung.frames, bridge=True)
        alone = expose_burst(night, settings)[blend]
        assert np.array_equal(rung.shot.light, alone.light)
        assert np.array_equal(same.shot.light, alone.light)
        assert rung.measure == same.measure
        assert rung.shot.report["gaps"] == alone.report["gaps"]
        assert rung.shot.is_bridged == alone.is_bridged == (rung.frames > 1)
        changed += not np.array_equal(rung.shot.light, before.shot.light)
        if rung.frames > 1:
            # what is measured is the bridged picture: streaks are in one piece
            assert rung.measure.streak_px > 1.4 * before.measure.streak_px
    assert changed == len(one.rungs) - 1
    assert one.report["rungs"][-1]["bridge"]["bridged"] == 5


def test_the_bridge_of_a_mean_rung_is_that_of_its_exposure(monkeypatch, night):
    """The flow has nothing to do with a lamp: made up, and told how many frames it saw."""

    class MadeUp:
        joins = "added"

        def __init__(self, count):
            self.gaps = [GapVerdict(True)] * (count - 1)

        def between(self, number, earlier, later):
            light = np.full((30, 40, 3), 0.01 * len(self.gaps) + 0.001 * number, np.float32)
            return [Patch(20, 30, light, np.ones((30, 40), np.float32))]

    def choose(joins, frames, exposed, weights, counts, workers, sky):
        return {"made up": MadeUp(len(exposed))}

    monkeypatch.setattr(bridging, "choose_bridges", choose)
    for rung in ladder_burst(night, Settings(bridge=True)).rungs:
        alone = expose_burst(night, Settings(last=rung.frames, bridge=True))["mean"]
        # the grid of the mean is that of all frames; bridged light is added in float32
        assert np.abs(rung.shot.light - alone.light).max() <= 2 * GRID
        assert rung.shot.report["gaps"] == alone.report["gaps"]


def test_too_little_memory_for_the_bridge_of_a_ladder_is_told_at_once(night, monkeypatch):
    monkeypatch.setattr(ladder_module, "make_ready", None)
    with pytest.raises(OptionError, match="to bridge gaps"):
        ladder_burst(night, Settings(bridge=True, memory=112 * 10**6))


def test_files_sort_by_time_and_a_sheet_names_them(burst, tmp_path):
    ladder = ladder_burst(burst, Settings())
    written = save_rungs(ladder, tmp_path / "water.jpg")
    assert [path.name for path in written] == sorted(path.name for path in written)
    assert written[3].name == "water-08-4s.jpg"
    report = save_sheet(ladder, tmp_path / "sheet.jpg")
    assert report["output"].endswith("sheet.jpg")
    assert report["rungs"][3]["file"].endswith("water-08-4s.jpg")
    with pytest.raises(StackerError, match="exists already"):
        save_sheet(ladder, tmp_path / "sheet.jpg")
