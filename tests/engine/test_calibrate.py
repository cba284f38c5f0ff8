"""Bursts of a faulty sensor, raw and finished, against what a faultless one would have seen."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import tifffile
from dng import write_dng

import stacker
from stacker.burst.as_stored import as_stored
from stacker.burst.master_file import read_master
from stacker.engine import Silent
from stacker.engine.masters import make_master, obtain_master
from stacker.errors import FrameError, OptionError, OutputError
from stacker.finish.master import save_master
from stacker.light.encoding import Encoder
from stacker.light.space import SRGB
from stacker.light.srgb import srgb_to_linear
from tests.night import SENSOR, expose, make_faults
from tests.same_light import assert_same_light

SIZE = (60, 84)
FRAMES = 12
NIGHT = datetime(2031, 1, 4, 22, 0, 0)
SKY, FLAT = 0.05, 0.4


@pytest.fixture(scope="module")
def faults():
    return make_faults(SIZE, 21, hot=12, dead=4)


def shoot(folder, light, faults, *, seed, count=FRAMES, time=1.0, shutter=(10, 1), iso=800):
    """Write a burst of raw files of even light."""
    folder.mkdir(parents=True)
    rng = np.random.default_rng(seed)
    for number in range(count):
        codes = expose(np.full((*SIZE, 3), light), faults, rng, time=time)
        taken = NIGHT + timedelta(seconds=number * 11)
        write_dng(
            folder / f"KP_{number:04d}.dng", codes, SENSOR, taken=taken, shutter=shutter, iso=iso
        )
    return str(folder)


@pytest.fixture(scope="module")
def raw(tmp_path_factory, faults):
    """Return folders of frames, darks, flats and bias frames."""
    root = tmp_path_factory.mktemp("raw")
    return {
        "frames": shoot(root / "frames", SKY, faults, seed=1),
        "darks": shoot(root / "darks", 0.0, faults, seed=2),
        "flats": shoot(root / "flats", FLAT, faults, seed=3, time=0, shutter=(1, 50)),
        "biases": shoot(root / "bias", 0.0, faults, seed=4, time=0, shutter=(1, 8000)),
    }


def light_of(source, blend="mean", **settings):
    settings = {
        key: (value,) if key in ("darks", "flats", "biases") else value
        for key, value in settings.items()
    }
    return stacker.expose(stacker.open_burst(source), blend=blend, **settings).light


def pattern_of(light):
    """Return the fixed pattern: the spread of light about its mean, border left out."""
    inner = light[3:-3, 3:-3].astype(np.float64)
    return float((inner / inner.mean((0, 1))).std())


def test_the_fixed_pattern_of_a_raw_burst_goes(raw):
    before = light_of(raw["frames"])
    after = light_of(raw["frames"], darks=raw["darks"], flats=raw["flats"], biases=raw["biases"])
    # 200 electrons a photosite: in the mean of 12 frames 2.2 % of noise for green, 3 % for red,
    # and the masters' own, 1.25 times as much of the dark's 2 %
    assert pattern_of(before) > 0.4
    assert pattern_of(after) < 0.035
    # what a faultless sensor sees, but for what the lens keeps from the picture as a whole
    share = faultless_share(after)
    np.testing.assert_allclose(after.mean((0, 1)), SKY * share, rtol=0.01)


def faultless_share(light):
    """Return the mean response: even light stays even, and as bright as it was on average."""
    return make_faults(SIZE, 21, hot=12, dead=4).response.mean() * np.ones(3)


def test_a_flat_alone_evens_out_what_it_can(raw, faults):
    flat = light_of(raw["flats"])
    evened = light_of(raw["flats"], flats=raw["flats"], biases=raw["biases"])
    assert pattern_of(flat) > 0.08
    # its own noise is divided out with its shape
    assert pattern_of(evened) < 0.012


def test_a_dark_of_another_shutter_is_scaled_by_the_bias(tmp_path, raw, faults):
    """Darks open for half as long hold half of the warmth; the bias tells which part that is."""
    short = shoot(tmp_path / "short", 0.0, faults, seed=5, time=0.5, shutter=(5, 1))
    plain = light_of(raw["frames"], darks=short, hot_pixels="keep")
    shot = stacker.expose(
        stacker.open_burst(raw["frames"]),
        darks=(short,),
        biases=(raw["biases"],),
        hot_pixels="keep",
    )
    right = light_of(raw["frames"], darks=raw["darks"], hot_pixels="keep")
    corner = np.s_[-12:-3, 3:12]
    off = [np.abs(light[corner].mean() - right[corner].mean()) for light in (plain, shot.light)]
    assert off[1] < 0.2 * off[0]
    assert shot.report["calibration"]["dark"]["scaled_by"] == 2.0
    assert shot.report["warnings"] == []


@pytest.fixture(scope="module")
def finished(tmp_path_factory, faults):
    """Return folders of 16-bit pictures of the same sensor with three colours at each place."""
    root = tmp_path_factory.mktemp("finished")
    rng = np.random.default_rng(7)
    kinds = {"frames": (SKY, 1.0), "darks": (0.0, 1.0), "flats": (FLAT, 0.0), "biases": (0.0, 0.0)}
    for kind, (light, time) in kinds.items():
        folder = root / kind
        folder.mkdir()
        for number in range(FRAMES):
            mean = light * faults.response + time * faults.dark_e / 4000
            # a pedestal, as files would have that keep the noise about black
            noisy = mean[..., None] + 0.01 + rng.normal(0, 0.004, (*SIZE, 3))
            codes = Encoder(SRGB.curve).encode(noisy.astype(np.float32))
            tifffile.imwrite(folder / f"KP_{number:04d}.tif", codes, photometric="rgb")
    return {kind: str(root / kind) for kind in kinds}


def test_the_fixed_pattern_of_finished_pictures_goes(finished):
    before = light_of(finished["frames"])
    after = light_of(
        finished["frames"],
        darks=finished["darks"],
        flats=finished["flats"],
        biases=finished["biases"],
    )
    assert pattern_of(before) > 0.4
    # 8 % of noise in a frame: 2.3 % in the mean, 1.25 times as much in the median of the darks
    assert pattern_of(after) < 0.045
    np.testing.assert_allclose(after.mean((0, 1)), SKY * faultless_share(after), rtol=0.01)


def test_light_below_black_is_kept_until_it_is_blended(finished, tmp_path):
    """The mean of darks less their master is nothing, not half of the noise."""
    settings = {"darks": finished["darks"], "hot_pixels": "keep"}
    mean = light_of(finished["darks"], **settings)
    # 0.004 of noise over 12 frames and 15120 values
    assert abs(mean.mean()) < 1e-4 and mean.min() < 0
    lighten = light_of(finished["darks"], "darken", **settings)
    assert (lighten < 0).mean() > 0.9
    shot = stacker.expose(
        stacker.open_burst(finished["darks"]), blend="darken", darks=(finished["darks"],)
    )
    stacker.save(shot, tmp_path / "a.tif", depth=32)
    assert tifffile.imread(tmp_path / "a.tif").min() == 0
    stacker.save(shot, tmp_path / "a.png")


@pytest.mark.parametrize("kind", ["raw", "finished"])
def test_masters_written_and_used_again_give_the_same_bits(kind, request, tmp_path):
    folders = request.getfixturevalue(kind)
    files = {}
    for name, option in (("dark", "darks"), ("flat", "flats"), ("bias", "biases")):
        burst = stacker.open_burst(folders[option])
        master = make_master(name, burst, progress=Silent())
        files[option] = str(tmp_path / f"{name}.tif")
        save_master(Path(files[option]), master, software="stacker test")
        again = read_master(Path(files[option]))
        assert again.facts() == master.facts()
        np.testing.assert_array_equal(again.pixels, master.pixels)
    frames = folders.pop("frames")
    try:
        made = light_of(frames, "lighten", hot_pixels="mend", **folders)
        used = light_of(frames, "lighten", hot_pixels="mend", **files)
    finally:
        folders["frames"] = frames
    assert_same_light(used, made)


@pytest.mark.parametrize("kind", ["raw", "finished"])
@pytest.mark.parametrize("blend", ["mean", "median", "lighten"])
def test_the_same_picture_for_any_number_of_workers(kind, blend, request):
    folders = request.getfixturevalue(kind)
    settings = {"darks": folders["darks"], "flats": folders["flats"], "hot_pixels": "mend"}
    one, four = (
        light_of(folders["frames"], blend, workers=workers, **settings) for workers in (1, 4)
    )
    assert_same_light(four, one)


def test_the_master_is_the_exact_median(raw, tmp_path):
    master = make_master("dark", stacker.open_burst(raw["darks"]), progress=Silent())
    stored = as_stored(stacker.open_burst(raw["darks"]))
    stack = [
        next(stored.decode([place]))[1].reshape(SIZE[0], -1)[:, : SIZE[1]].copy()
        for place in range(FRAMES)
    ]
    np.testing.assert_array_equal(master.pixels, np.median(stack, axis=0))
    assert (master.frames, master.iso, master.shutter_s) == (FRAMES, 800, 10)
    assert master.mosaic.pattern == ((0, 1), (3, 2)) and master.mosaic.black == (512,) * 4


def test_a_width_that_is_no_multiple_of_three(tmp_path):
    rng = np.random.default_rng(1)
    frames = [rng.integers(500, 900, (30, 41)).astype(np.uint16) for _ in range(4)]
    for number, codes in enumerate(frames):
        write_dng(tmp_path / f"{number}.dng", codes, SENSOR)
    master = make_master("dark", stacker.open_burst(tmp_path), progress=Silent())
    np.testing.assert_array_equal(master.pixels, np.median(frames, axis=0))


def test_frames_turned_on_their_side_are_calibrated_as_the_sensor_lies(tmp_path):
    """The camera lay on its back for the darks and stood upright for the frames."""
    rng = np.random.default_rng(2)
    fault = np.where(rng.random((30, 40)) < 0.1, 0.2, 0.0)
    for name, light, orientation in (("frames", 0.1, 6), ("darks", 0.0, 1)):
        (tmp_path / name).mkdir()
        code = Encoder(SRGB.curve).encode(
            np.repeat((fault + light)[..., None], 3, axis=2).astype(np.float32)
        )
        for number in range(3):
            tifffile.imwrite(
                tmp_path / name / f"{number}.tif", code, photometric="rgb",
                extratags=[(274, "H", 1, orientation, True)],
            )  # fmt: skip
    light = light_of(tmp_path / "frames", darks=str(tmp_path / "darks"), hot_pixels="keep")
    assert light.shape == (40, 30, 3)
    # two rounded 16-bit codes
    np.testing.assert_allclose(light, 0.1, atol=3e-5)


def test_the_report_tells_all(raw):
    shot = stacker.expose(
        stacker.open_burst(raw["frames"]),
        darks=(raw["darks"],),
        flats=(raw["flats"],),
        hot_pixels="mend",
    )
    told = shot.report["calibration"]
    assert told["dark"]["from"] == [raw["darks"]]
    assert (told["dark"]["frames"], told["dark"]["shutter_s"], told["dark"]["iso"]) == (12, 10, 800)
    assert told["flat"]["shutter_s"] == 0.02
    assert set(told["hot_pixels"]["found_in"]) == {"darks", "flats", "burst"}
    assert told["hot_pixels"]["mended"] >= 16
    assert shot.report["development"]["black"] == 512
    assert shot.report["development"]["white"] == 15872
    assert "calibration" not in shot.report["development"]
    assert {path.parent.name for path in shot.sources} == {"frames", "darks", "flats"}


def test_names_come_as_a_tuple(raw):
    with pytest.raises(OptionError, match="tuple"):
        stacker.expose(stacker.open_burst(raw["frames"]), darks=raw["darks"])


def test_nothing_is_done_unless_asked(raw):
    shot = stacker.expose(stacker.open_burst(raw["frames"]))
    assert "calibration" not in shot.report


class TestMismatches:
    def warned(self, raw, faults, folder, **exif):
        darks = shoot(folder / "darks", 0.0, faults, seed=2, count=3, **exif)
        shot = stacker.expose(stacker.open_burst(raw["frames"]), darks=(darks,), hot_pixels="keep")
        (warning,) = shot.report["warnings"]
        return warning

    def test_another_shutter_names_both(self, raw, faults, tmp_path):
        warning = self.warned(raw, faults, tmp_path, shutter=(30, 1))
        assert "darks were open for 30 s, the frames for 10 s" in warning

    def test_another_sensitivity_names_both(self, raw, faults, tmp_path):
        assert "at ISO 1600, the frames at ISO 800" in self.warned(raw, faults, tmp_path, iso=1600)

    def test_another_camera_names_both(self, raw, tmp_path):
        master = make_master("dark", stacker.open_burst(raw["darks"]), progress=Silent())
        target = tmp_path / "dark.tif"
        save_master(target, replace(master, camera="Other 1"), software="stacker test")
        shot = stacker.expose(
            stacker.open_burst(raw["frames"]), darks=(str(target),), hot_pixels="keep"
        )
        (warning,) = shot.report["warnings"]
        assert "taken with Other 1, the frames with Kestrel Raw" in warning

    def refused(self, frames, code, **settings):
        with pytest.raises(OptionError) as caught:
            light_of(frames, **settings)
        assert caught.value.code == code
        return str(caught.value)

    def test_another_size_is_refused(self, raw, tmp_path):
        write_dng(tmp_path / "a.dng", np.full((50, 84), 600, np.uint16), SENSOR)
        sentence = self.refused(raw["frames"], "master-mismatch", darks=str(tmp_path))
        assert "84 x 50 pixels, the frames 84 x 60" in sentence and "--dark" in sentence

    def test_raw_and_finished_do_not_mix(self, raw, finished):
        sentence = self.refused(finished["frames"], "master-mismatch", flats=raw["flats"])
        assert "the flats are raw files, the frames finished pictures" in sentence

    def test_another_pattern_is_refused(self, raw, tmp_path):
        sensor = replace(SENSOR, pattern=(2, 1, 1, 0))
        write_dng(tmp_path / "a.dng", np.full(SIZE, 600, np.uint16), sensor)
        self.refused(raw["frames"], "master-mismatch", darks=str(tmp_path))

    def test_a_master_of_another_kind_is_refused(self, raw, tmp_path):
        master = make_master("flat", stacker.open_burst(raw["flats"]), progress=Silent())
        save_master(tmp_path / "flat.tif", master, software="stacker test")
        sentence = self.refused(raw["frames"], "master-kind", darks=str(tmp_path / "flat.tif"))
        assert "give it as --flat" in sentence

    def test_a_flat_in_the_dark_is_refused(self, raw):
        self.refused(raw["frames"], "flat-dark", flats=raw["darks"], darks=raw["darks"])

    def test_a_burnt_out_flat_and_an_open_lens_are_told(self, raw, tmp_path, faults):
        flats = shoot(tmp_path / "flats", 1.5, faults, seed=3, count=3, time=0)
        shot = stacker.expose(stacker.open_burst(raw["frames"]), flats=(flats,))
        assert any("of the flats is burnt out" in warning for warning in shot.report["warnings"])
        speckled = replace(
            faults, dark_e=np.where(np.arange(84) % 7 == 0, 500.0, 0.0) + 0 * faults.dark_e
        )
        darks = shoot(tmp_path / "darks", 0.0, speckled, seed=3, count=3)
        shot = stacker.expose(stacker.open_burst(raw["frames"]), darks=(darks,))
        assert any("suspiciously many" in warning for warning in shot.report["warnings"])


def test_few_frames_keep_their_hot_pixels_with_a_word(raw):
    shot = stacker.expose(stacker.open_burst(raw["frames"]), last=3, hot_pixels="mend")
    assert "cannot be told from stars" in shot.report["warnings"][0]
    assert shot.report["calibration"]["hot_pixels"] == {"mended": 0, "found_in": {"burst": 0}}


def test_a_bad_dark_stops_or_is_skipped(raw, tmp_path):
    names = sorted(Path(raw["darks"]).iterdir())[:5]
    for path in names:
        (tmp_path / path.name).write_bytes(path.read_bytes())
    cut = tmp_path / names[2].name
    cut.write_bytes(cut.read_bytes()[:-500])
    with pytest.raises(FrameError, match="cut short"):
        light_of(raw["frames"], darks=str(tmp_path))
    shot = stacker.expose(stacker.open_burst(raw["frames"]), darks=(str(tmp_path),), on_bad="skip")
    assert shot.report["calibration"]["dark"]["frames"] == 4


def test_a_damaged_master_is_told(raw, tmp_path):
    master = make_master("dark", stacker.open_burst(raw["darks"]), progress=Silent())
    target = tmp_path / "dark.tif"
    save_master(target, master, software="stacker test")
    whole = target.read_bytes()
    target.write_bytes(whole[:-3000])
    with pytest.raises(FrameError, match="damaged"):
        obtain_master(
            "dark", [str(target)], on_bad="stop", memory=None, workers=None, progress=Silent()
        )
    later = whole.replace(b'"stacker_master": 1', b'"stacker_master": 7')
    target.write_bytes(later)
    with pytest.raises(FrameError, match="form 7"):
        read_master(target)
    assert read_master(Path(raw["darks"]) / "KP_0000.dng") is None


def test_a_master_is_never_written_over(raw, tmp_path):
    master = make_master("dark", stacker.open_burst(raw["darks"]), progress=Silent())
    target = tmp_path / "dark.tif"
    save_master(target, master, software="stacker test")
    shot = stacker.expose(stacker.open_burst(raw["frames"]), darks=(str(target),))
    with pytest.raises(OutputError, match="source"):
        stacker.save(shot, target, overwrite=True)
    with pytest.raises(OutputError, match="TIFF"):
        save_master(tmp_path / "dark.png", master, software="stacker test")


def test_a_corrected_frame_counts_in_the_memory_plan(finished):
    settings = {"darks": (finished["darks"],), "flats": (finished["flats"],)}
    burst = stacker.open_burst(finished["frames"])
    plain, calibrated = (
        stacker.expose(burst, workers=1, **each).report["passes"]["planned_peak_bytes"]
        for each in ({"darks": settings["darks"]}, settings)
    )
    # the response: float32 of three channels
    assert calibrated - plain == 12 * SIZE[0] * SIZE[1]


def test_linear_light_is_what_is_subtracted(tmp_path):
    """8-bit codes 100 less 50 leave the difference of their light, not code 50."""
    for name, code in (("frames", 100), ("darks", 50)):
        (tmp_path / name).mkdir()
        for number in range(2):
            pixels = np.full((8, 8, 3), code, np.uint8)
            tifffile.imwrite(tmp_path / name / f"{number}.tif", pixels, photometric="rgb")
    light = light_of(tmp_path / "frames", darks=str(tmp_path / "darks"))
    wanted = float(srgb_to_linear(100 / 255) - srgb_to_linear(50 / 255))
    np.testing.assert_allclose(light, wanted, rtol=1e-5)
