"""From files to an exposure: the whole way, against plain arithmetic on the decoded frames."""

import json
import threading

import numpy as np
import pytest
import tifffile

import stacker
from stacker.blend import BLENDS
from stacker.engine import Settings, expose_burst
from stacker.engine.passes import FramePass
from stacker.errors import BurstError, FrameError, OptionError
from stacker.light.encoding import Encoder
from stacker.light.space import SRGB
from stacker.light.srgb import srgb_to_linear
from tests.bursts import write_jpegs, write_tiffs
from tests.same_light import assert_same_light

EVERY = tuple(BLENDS)


@pytest.fixture
def burst_folder(tmp_path):
    folder = tmp_path / "burst"
    frames = write_jpegs(folder, 9)
    return folder, frames


def shots(folder, **settings):
    return expose_burst(stacker.open_burst(folder), Settings(blends=EVERY, **settings))


def test_mean_lighten_and_median_of_real_files(burst_folder):
    folder, frames = burst_folder
    light = srgb_to_linear(np.stack(frames) / 255)
    made = shots(folder)
    # the whole-number grid of the mean errs by 2^-22 at the most
    np.testing.assert_allclose(made["mean"].light, light.mean(0), rtol=1e-6, atol=3e-7)
    np.testing.assert_array_equal(made["lighten"].light, light.max(0).astype(np.float32))
    np.testing.assert_array_equal(made["median"].light, np.median(light, 0).astype(np.float32))


@pytest.mark.parametrize("workers", [1, 2, 8])
def test_the_same_picture_for_any_number_of_workers(burst_folder, workers):
    folder, _ = burst_folder
    alone, several = shots(folder, workers=1), shots(folder, workers=workers)
    for name in EVERY:
        assert_same_light(several[name].light, alone[name].light)


def test_the_same_picture_whatever_order_frames_are_decoded_in(burst_folder, monkeypatch):
    """Early frames are made slow, so that later ones wait decoded for their turn."""
    folder, _ = burst_folder
    plain = shots(folder, workers=4)
    waiting = threading.Event()
    decoded = FramePass._decoded

    def slow_first(self, run, position):
        if run[0] == 0:
            waiting.wait(0.2)
        return decoded(self, run, position)

    monkeypatch.setattr(FramePass, "_decoded", slow_first)
    delayed = shots(folder, workers=4)
    for name in EVERY:
        assert_same_light(delayed[name].light, plain[name].light)


def test_bands_within_little_memory_give_the_same_picture(tmp_path):
    frames = [
        np.random.default_rng(n).integers(0, 65536, (900, 700, 3)).astype(np.uint16)
        for n in range(9)
    ]
    write_tiffs(tmp_path / "burst", frames)
    burst = stacker.open_burst(tmp_path / "burst")
    names = ("median", "mean", "trimmed")
    whole = expose_burst(burst, Settings(blends=names, memory=10**9))
    banded = expose_burst(burst, Settings(blends=names, memory=190 * 10**6))
    assert whole["median"].report["passes"]["count"] == 1
    assert banded["median"].report["passes"]["count"] > 1
    assert "decoded" in banded["median"].report["passes"]["why"]
    for name in names:
        assert_same_light(banded[name].light, whole[name].light)


def test_too_little_memory_is_told_with_what_is_needed(burst_folder):
    folder, _ = burst_folder
    with pytest.raises(OptionError) as caught:
        shots(folder, memory=10**6)
    assert caught.value.code == "option-memory"
    assert "at least" in str(caught.value)


def test_several_blends_read_each_file_once(burst_folder, monkeypatch):
    folder, frames = burst_folder
    burst = stacker.open_burst(folder)
    reads = []
    decode = type(burst).decode

    def counted(self, indices, *, out=None):
        reads.extend(indices)
        return decode(self, indices, out=out)

    monkeypatch.setattr(type(burst), "decode", counted)
    expose_burst(burst, Settings(blends=("mean", "lighten", "max")))
    assert sorted(reads) == list(range(len(frames)))


class TestSpan:
    def test_first_and_last_are_counted_from_one_and_included(self, burst_folder):
        folder, frames = burst_folder
        shot = stacker.expose(stacker.open_burst(folder), blend="lighten", first=3, last=5)
        wanted = srgb_to_linear(np.stack(frames[2:5]) / 255).max(0)
        np.testing.assert_array_equal(shot.light, wanted.astype(np.float32))
        assert [frame["name"] for frame in shot.report["frames"]] == [
            "KP_0003.jpg",
            "KP_0004.jpg",
            "KP_0005.jpg",
        ]

    @pytest.mark.parametrize(("shutter_s", "count"), [(1.0, 2), (1.3, 3), (0.1, 1), (99, 9)])
    def test_shutter_takes_the_nearest_open_time(self, burst_folder, shutter_s, count):
        folder, _ = burst_folder
        shot = stacker.expose(stacker.open_burst(folder), shutter_s=shutter_s)
        assert shot.report["frames_used"] == count
        assert shot.open_s == count * 0.5

    def test_a_shutter_longer_than_the_burst_is_told(self, burst_folder):
        folder, _ = burst_folder
        report = stacker.expose(stacker.open_burst(folder), shutter_s=100).report
        assert any("100 s of open time were asked for" in w for w in report["warnings"])
        assert not stacker.expose(stacker.open_burst(folder), shutter_s=2.2).report["warnings"]

    @pytest.mark.parametrize(
        "span", [{"first": 0}, {"first": 10}, {"last": 10}, {"first": 5, "last": 4}]
    )
    def test_spans_beyond_the_burst_are_refused(self, burst_folder, span):
        folder, _ = burst_folder
        with pytest.raises(OptionError) as caught:
            stacker.expose(stacker.open_burst(folder), **span)
        assert caught.value.code == "option-span"


class TestWeights:
    def test_weights_of_the_frames(self, burst_folder):
        folder, frames = burst_folder
        weights = (1, 0, 0.5, 0, 0, 0, 0, 0, 0.25)
        shot = stacker.expose(stacker.open_burst(folder), weights=weights)
        light = np.average(srgb_to_linear(np.stack(frames) / 255), axis=0, weights=weights)
        np.testing.assert_allclose(shot.light, light, rtol=1e-6, atol=1e-6)
        assert shot.report["frames"][1]["why"] == "left out as asked"

    def test_a_ramp_lets_the_shutter_open_and_close_gradually(self, burst_folder):
        folder, _ = burst_folder
        # nine frames of 0.5 s every 2 s: 16.5 s in all
        shot = stacker.expose(stacker.open_burst(folder), ramp_in_s=8.25, ramp_out_s=8.25)
        weights = [frame["weight"] for frame in shot.report["frames"]]
        assert weights == pytest.approx(weights[::-1])
        assert weights[0] == pytest.approx(0.25 / 8.25, abs=1e-3)
        assert np.all(np.diff(weights[:5]) > 0)
        assert weights[4] == pytest.approx(1.0, abs=0.02)

    @pytest.mark.parametrize("weight", [1e-9, 0.3, 7.0, 1e300])
    def test_weights_are_relative(self, burst_folder, weight):
        folder, _ = burst_folder
        burst = stacker.open_burst(folder)
        # those of poses say how visible each frame's are: see test_poses.py
        for name in sorted(set(EVERY) - {"poses"}):
            plain = stacker.expose(burst, blend=name)
            weighed = stacker.expose(burst, blend=name, weights=(weight,) * 9)
            assert_same_light(weighed.light, plain.light)

    def test_a_ramp_longer_than_the_span_is_a_slope(self, burst_folder):
        folder, _ = burst_folder
        shot = stacker.expose(stacker.open_burst(folder), ramp_in_s=1e6)
        weights = [frame["weight"] for frame in shot.report["frames"]]
        assert weights[-1] == 1.0
        assert np.all(np.diff(weights) > 0)

    def test_frames_can_be_left_out_by_number(self, burst_folder):
        folder, frames = burst_folder
        burst = stacker.open_burst(folder)
        shot = stacker.expose(burst, blend="lighten", without=(2, 5), first=2)
        kept = np.stack([frames[place] for place in (2, 3, 5, 6, 7, 8)])
        np.testing.assert_array_equal(
            shot.light, srgb_to_linear(kept / 255).max(0).astype(np.float32)
        )
        assert [frame["number"] for frame in shot.report["frames"] if frame["used"]] == [
            3, 4, 6, 7, 8, 9,
        ]  # fmt: skip
        with pytest.raises(OptionError):
            stacker.expose(burst, without=(10,))

    def test_a_ramp_needs_to_know_the_shutter(self, tmp_path):
        write_tiffs(tmp_path / "burst", [np.zeros((9, 9, 3), np.uint8)] * 3)
        with pytest.raises(OptionError) as caught:
            stacker.expose(stacker.open_burst(tmp_path / "burst"), ramp_in_s=2)
        assert "--frame-shutter" in str(caught.value)

    def test_wrong_weights_are_refused(self, burst_folder):
        folder, _ = burst_folder
        burst = stacker.open_burst(folder)
        for weights in [(1, 2), (0,) * 9, (-1,) * 9, (float("nan"),) * 9]:
            with pytest.raises(OptionError):
                stacker.expose(burst, weights=weights)


class TestBadFrames:
    def cut(self, folder, number):
        path = folder / f"KP_{number:04d}.jpg"
        data = path.read_bytes()
        path.write_bytes(data[: len(data) * 2 // 3])

    @pytest.mark.parametrize("workers", [1, 3])
    def test_a_cut_frame_stops_with_the_name_of_the_earliest(self, burst_folder, workers):
        folder, _ = burst_folder
        self.cut(folder, 5)
        self.cut(folder, 6)
        with pytest.raises(FrameError) as caught:
            shots(folder, workers=workers)
        assert "KP_0005.jpg" in str(caught.value)

    @pytest.mark.parametrize("workers", [1, 3])
    def test_skipped_frames_leave_the_picture_as_without_them(self, burst_folder, workers):
        folder, _ = burst_folder
        self.cut(folder, 1)
        self.cut(folder, 5)
        (folder / "KP_0007.jpg").write_bytes(b"")
        skipped = shots(folder, on_bad="skip", workers=workers)
        for number in (1, 5, 7):
            (folder / f"KP_{number:04d}.jpg").unlink()
        without = shots(folder)
        for name in EVERY:
            assert_same_light(skipped[name].light, without[name].light)
        report = skipped["mean"].report
        assert report["frames_left_out"] == 3
        assert report["frames_used"] == 6
        left_out = [frame for frame in report["frames"] if not frame["used"]]
        assert all(frame["why"] for frame in left_out)
        assert any("3 of 9 frames left out" in warning for warning in report["warnings"])

    @pytest.mark.parametrize("workers", [1, 4])
    def test_floats_far_beyond_white_stop_or_are_left_out(self, tmp_path, workers):
        frames = [np.full((70, 64, 3), 0.5, np.float32) for _ in range(4)]
        frames[2][60, 5, 1] = 1e7
        write_tiffs(tmp_path / "floats", frames)
        with pytest.raises(FrameError) as caught:
            shots(tmp_path / "floats", workers=workers)
        assert "KP_0003.tif" in str(caught.value)
        made = shots(tmp_path / "floats", workers=workers, on_bad="skip")
        np.testing.assert_array_equal(made["mean"].light, 0.5)
        np.testing.assert_array_equal(made["lighten"].light, 0.5)

    def test_a_bad_page_costs_no_other(self, tmp_path):
        pages = np.stack([np.full((9, 9, 3), 0.1 * n, np.float32) for n in range(1, 6)])
        pages[1, 3, 3, 0] = np.nan
        (tmp_path / "pages").mkdir()
        tifffile.imwrite(tmp_path / "pages" / "a.tif", pages, photometric="rgb")
        report = shots(tmp_path / "pages", on_bad="skip")["mean"].report
        assert [frame["used"] for frame in report["frames"]] == [True, False, True, True, True]

    def test_a_frame_lost_where_the_grid_changes_leaves_no_trace(self, tmp_path):
        """With 33 frames the sums lie on a coarser grid than with the 31 that are left."""
        folder = tmp_path / "burst"
        write_jpegs(folder, 33)
        for number in (5, 20):
            self.cut(folder, number)
        skipped = shots(folder, on_bad="skip")
        for number in (5, 20):
            (folder / f"KP_{number:04d}.jpg").unlink()
        without = shots(folder)
        for name in EVERY:
            assert_same_light(skipped[name].light, without[name].light)
            assert skipped[name].brightest == without[name].brightest

    def test_frames_known_to_be_bad_do_not_count_for_the_shutter(self, burst_folder):
        folder, _ = burst_folder
        for number in (1, 2):
            (folder / f"KP_{number:04d}.jpg").write_bytes(b"")
        shot = stacker.expose(stacker.open_burst(folder), shutter_s=2.0, on_bad="skip")
        assert shot.open_s == 2.0

    def test_nothing_left_is_one_error(self, burst_folder):
        folder, _ = burst_folder
        for number in range(1, 10):
            self.cut(folder, number)
        with pytest.raises(BurstError) as caught:
            shots(folder, on_bad="skip")
        assert caught.value.code == "burst-no-frames"


class TestReport:
    def test_keys_of_format_one(self, burst_folder):
        folder, _ = burst_folder
        report = stacker.expose(stacker.open_burst(folder)).report
        json.dumps(report)
        assert report["format"] == 1
        assert report["size"] == [48, 32]
        assert report["reference"] == "KP_0001.jpg"
        assert report["open_s"] == 4.5
        assert report["elapsed_s"] == 16.5
        assert len(report["frames"]) == 9
        frame = report["frames"][2]
        assert frame["start_s"] == 4.0
        assert frame["shutter_s"] == 0.5
        assert frame["used"] is True
        assert frame["why"] is None
        assert frame["to_reference"] == [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
        assert frame["local"] is None
        assert frame["residual_px"] == 0.0
        assert report["gaps"][0] == {"after": "KP_0001.jpg", "seconds": 1.5, "bridged": False}
        assert len(report["gaps"]) == 8

    def test_clipped_share_is_counted(self, tmp_path):
        frame = np.zeros((40, 40, 3), np.uint8)
        frame[:10, :, 1] = 255
        write_tiffs(tmp_path / "burst", [frame, frame])
        report = stacker.expose(stacker.open_burst(tmp_path / "burst")).report
        assert report["frames"][0]["clipped"] == 0.25
        assert any("burnt out" in warning for warning in report["warnings"])

    def test_settings_that_make_no_sense(self):
        for wrong in (
            {"on_bad": "perhaps"},
            {"hold": "nothing"},
            {"shutter_s": 0},
            {"ramp_in_s": -1},
            {"workers": 0},
            {"blends": ()},
            {"last": 3, "shutter_s": 1.0},
        ):
            with pytest.raises(OptionError):
                Settings(**wrong)


class TestSaved:
    def test_one_frame_comes_back_code_for_code(self, burst_folder, tmp_path):
        folder, frames = burst_folder
        for name in EVERY:
            shot = stacker.expose(stacker.open_burst(folder), blend=name, first=4, last=4)
            stacker.save(shot, tmp_path / f"{name}.tif")
            codes = tifffile.imread(tmp_path / f"{name}.tif")
            np.testing.assert_array_equal(codes, frames[3].astype(np.uint16) * 257)

    def test_linear_float(self, burst_folder, tmp_path):
        folder, _ = burst_folder
        shot = stacker.expose(stacker.open_burst(folder), blend="sum")
        stacker.save(shot, tmp_path / "sum.tif", depth=32)
        np.testing.assert_array_equal(tifffile.imread(tmp_path / "sum.tif"), shot.light)
        assert shot.light.max() > 1

    def test_shoulder_keeps_shades_beyond_white(self, burst_folder, tmp_path):
        folder, _ = burst_folder
        shot = stacker.expose(stacker.open_burst(folder), blend="sum")
        stacker.save(shot, tmp_path / "plain.tif")
        stacker.save(shot, tmp_path / "bent.tif", shoulder=True)
        plain, bent = (tifffile.imread(tmp_path / f"{n}.tif") for n in ("plain", "bent"))
        assert (plain == 65535).mean() > 0.5
        assert (bent == 65535).mean() < 0.01
        dark = shot.light < 0.5
        np.testing.assert_array_equal(bent[dark], plain[dark])

    def test_description_holds_what_makes_it_again(self, burst_folder, tmp_path):
        from PIL import Image

        folder, _ = burst_folder
        shot = stacker.expose(stacker.open_burst(folder), blend="max", first=2)
        stacker.save(shot, tmp_path / "max.jpg", exposure_ev=0.5)
        with Image.open(tmp_path / "max.jpg") as picture:
            exif = picture.getexif()
        described = json.loads(exif[0x010E])
        assert described["settings"]["blend"] == "max"
        assert described["settings"]["first"] == 2
        assert described["settings"]["exposure_ev"] == 0.5
        assert float(exif.get_ifd(0x8769)[0x829A]) == 4.0  # eight frames of half a second

    def test_encoding_and_writing_agree(self, burst_folder, tmp_path):
        folder, _ = burst_folder
        shot = stacker.expose(stacker.open_burst(folder))
        stacker.save(shot, tmp_path / "mean.tif")
        wanted = Encoder(SRGB.curve).encode(shot.light)
        np.testing.assert_array_equal(tifffile.imread(tmp_path / "mean.tif"), wanted)


def lighten(folder, **settings):
    return expose_burst(stacker.open_burst(folder), Settings(blends=("lighten",), **settings))[
        "lighten"
    ].light


def moving_spot(folder, count=8):
    """Write frames of a dark ground with one white spot, two pixels further in each."""
    frames = []
    for number in range(count):
        frame = np.full((40, 60, 3), 20, np.uint8)
        frame[20, 10 + 4 * number] = 255
        frames.append(frame)
    write_tiffs(folder, frames)
    return [(20, 10 + 4 * number) for number in range(count)]


def test_tails_point_where_they_are_told_to(tmp_path):
    spots = moving_spot(tmp_path / "burst")

    def trail(**settings):
        light = lighten(tmp_path / "burst", **settings)
        return np.array([light[spot][0] for spot in spots])

    ground = srgb_to_linear(20 / 255)
    whole = trail()
    np.testing.assert_array_equal(whole, 1.0)
    # frames without a clock are a second apart, so the first lies seven seconds before the last
    to_start = trail(tail_s=7.0)
    assert to_start[-1] == 1.0 and np.all(np.diff(to_start) > 0)
    # the curve of the fading: halfway the eye sees about half
    np.testing.assert_allclose(to_start[4], (4 / 7) ** 2.4, rtol=1e-6)
    assert to_start[0] == pytest.approx(ground, rel=1e-6)
    np.testing.assert_allclose(trail(tail_s=7.0, tail_to="end"), to_start[::-1], rtol=1e-6)
    both = trail(tail_s=5.0, tail_to="both")
    np.testing.assert_allclose(both, both[::-1], rtol=1e-6)
    assert both.max() == 1.0 and both.argmax() in (3, 4)
    # what is older than the tail is gone, what stands still stays
    short = trail(tail_s=2.5)
    np.testing.assert_allclose(short[:5], ground, rtol=1e-6)
    still = lighten(tmp_path / "burst", tail_s=2.5)
    assert still[0, 0, 0] == pytest.approx(ground, rel=1e-6)


def test_a_tail_shorter_than_the_interval_keeps_the_brightest_frame(tmp_path):
    moving_spot(tmp_path / "burst")
    assert lighten(tmp_path / "burst", tail_s=0.5).max() == 1.0
    with pytest.raises(OptionError, match="shorter than the time"):
        lighten(tmp_path / "burst", tail_s=0.5, tail_to="both")


@pytest.mark.parametrize("settings", [{"floor": "true"}, {"floor": "true", "tail_s": 5.0}])
def test_a_true_floor_does_not_hang_on_workers_or_bands(tmp_path, settings):
    rng = np.random.default_rng(3)
    ground = rng.uniform(20, 80, (120, 100, 3))
    frames = [ground + rng.normal(0, 4, ground.shape) for _ in range(31)]
    for number, frame in enumerate(frames):
        frame[60, 2 * number : 12 + 2 * number] = 230
    write_tiffs(tmp_path / "burst", [frame.clip(0, 255).astype(np.uint8) for frame in frames])
    alone = lighten(tmp_path / "burst", workers=1, **settings)
    np.testing.assert_array_equal(lighten(tmp_path / "burst", workers=5, **settings), alone)
    burst = stacker.open_burst(tmp_path / "burst")
    # the median of so many frames is what does not fit
    tight = Settings(blends=("lighten", "median"), workers=1, memory=142_600_000, **settings)
    shot = expose_burst(burst, tight)["lighten"]
    assert shot.report["passes"]["count"] > 1
    np.testing.assert_array_equal(shot.light, alone)


def test_a_frame_that_is_skipped_leaves_no_trace_in_a_true_floor(tmp_path):
    folder = tmp_path / "burst"
    write_jpegs(folder, 6)
    without = lighten(folder, floor="true", without=(4,))
    data = (folder / "KP_0004.jpg").read_bytes()
    (folder / "KP_0004.jpg").write_bytes(data[: len(data) // 2])
    np.testing.assert_array_equal(lighten(folder, floor="true", on_bad="skip"), without)
