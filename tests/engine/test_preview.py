"""Exposures from reduced frames: light, places, settings, and what they say of themselves."""

import json

import cv2
import numpy as np
import pytest
import tifffile

from stacker.burst import open_burst
from stacker.cli.app import run
from stacker.engine import expose_burst
from stacker.engine.balance import BalanceChoice
from stacker.engine.fireworks import shells_in
from stacker.engine.holding import held_to
from stacker.engine.loupe import expose_part, part_about
from stacker.engine.preview import balance_for_reduced, expose_preview, for_reduced
from stacker.engine.progress import Silent
from stacker.engine.reduced import FRAMES_BYTES, held_burst, preview_factor, reduce_burst
from stacker.engine.settings import Settings
from stacker.engine.settings_file import Chosen, chosen_from, read_settings
from stacker.errors import OptionError
from stacker.light.encoding import decode
from stacker.light.reduce import reduce_light
from stacker.register import FrameMotion
from stacker.register.geometry import translation
from tests.bursts import write_jpegs, write_tiffs

# half a code of 8 bits as light, at the brightest where codes lie furthest apart
HALF_A_CODE = 0.5 * 2.4 / 255


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("preview") / "quay"
    write_jpegs(folder, 4, size=(1600, 64), interval_s=1.0)
    return folder


def test_frames_are_reduced_in_light(folder):
    burst = open_burst(folder)
    small = reduce_burst(burst)
    assert (small.factor, small.size, small.encoding) == (2, (800, 32), burst.encoding)
    pixels = next(small.decode([1]))[1]
    truth = reduce_light(next(burst.decode([1]))[1], burst.encoding, 2)
    np.testing.assert_allclose(decode(pixels, small.encoding), truth, atol=HALF_A_CODE)


def test_sixteen_bits_stay_sixteen(tmp_path):
    rng = np.random.default_rng(2)
    write_tiffs(tmp_path, [rng.integers(0, 65536, (8, 1600, 3), np.uint16) for _ in range(2)])
    small = reduce_burst(open_burst(tmp_path))
    assert small.encoding.stored == "uint16"
    assert next(small.decode([0]))[1].dtype == np.uint16


def test_light_comes_as_sixteen_bits_and_is_cut_at_white(tmp_path):
    frame = np.full((8, 1600, 3), 0.25, np.float32)
    frame[:, 800:] = 3.0
    write_tiffs(tmp_path, [frame, frame])
    small = reduce_burst(open_burst(tmp_path))
    light = decode(next(small.decode([0]))[1], small.encoding)
    np.testing.assert_allclose(light[0, [0, -1], 0], [0.25, 1.0], rtol=1e-3)


def test_small_frames_are_left_as_they_are(tmp_path):
    decoded = write_jpegs(tmp_path / "small", 2)
    small = reduce_burst(open_burst(tmp_path / "small"))
    assert small.factor == 1
    np.testing.assert_array_equal(next(small.decode([0]))[1], decoded[0])


def test_very_many_frames_are_smaller_still(folder):
    from dataclasses import replace

    burst = open_burst(folder)
    many = replace(burst, frames=burst.frames * (FRAMES_BYTES // (4 * 3 * 400 * 16)))
    factor = preview_factor(many)
    assert factor > 2
    assert len(many.frames) * 3 * (1600 // factor) * (64 // factor) <= FRAMES_BYTES


def test_frames_in_memory_are_the_same_burst(folder):
    small = reduce_burst(open_burst(folder))
    slots = [next(small.decode([place]))[1].copy() for place in range(3)] + [None]
    held = held_burst(small, slots)
    assert held.runs([3, 1, 1]) == [(1,), (3,)]
    for settings in (Settings(), Settings(even="level"), Settings(blends=("lighten",), first=2)):
        one, two = (
            next(iter(expose_burst(burst, settings).values())).light for burst in (small, held)
        )
        np.testing.assert_array_equal(one, two)
    # nothing that is made of them changes them
    np.testing.assert_array_equal(slots[0], next(small.decode([0]))[1])


def test_the_command_says_that_it_is_a_preview(folder, tmp_path, capsys):
    target, report = tmp_path / "x.tif", tmp_path / "x.json"
    words = ["expose", str(folder), "--preview", "-o", str(target), "--report", str(report)]
    assert run(words) == 0
    said = capsys.readouterr()
    assert "800 x 32 pixels" in said.out
    assert "a preview" in said.err
    told = json.loads(report.read_text())
    assert told["preview"] == {"factor": 2}
    assert told["size"] == [800, 32]
    # the frames' own exposure, whatever was reduced
    assert told["open_s"] == 2.0


def test_a_preview_is_calibrated_before_it_is_reduced(tmp_path):
    """What darks take away at one pixel is not what they take away from the mean of four."""
    rng = np.random.default_rng(4)
    scene = np.full((64, 1600, 3), 20000, np.uint16)
    dark = rng.integers(0, 2, scene.shape, np.uint16) * np.uint16(6000)
    write_tiffs(tmp_path / "frames", [scene + dark] * 2)
    write_tiffs(tmp_path / "darks", [dark] * 2)
    burst = open_burst(tmp_path / "frames")
    settings = Settings(darks=(str(tmp_path / "darks"),))
    small = next(iter(expose_preview(burst, settings).values()))
    whole = next(iter(expose_burst(burst, settings).values()))
    assert small.size == (800, 32)
    truth = cv2.resize(whole.light, small.size, interpolation=cv2.INTER_AREA)
    # a code of 16 bits at this light
    np.testing.assert_allclose(small.light, truth, atol=2e-5)
    assert small.report["calibration"] == whole.report["calibration"]


def test_places_are_those_of_the_full_size():
    settings = Settings(hold="subject", box=(101.5, 41.5, 40, 20), darks=("d",))
    small = for_reduced(settings, 4)
    assert small.box == (25.0, 10.0, 10, 5)
    assert (small.darks, small.hot_pixels) == ((), "keep")
    assert balance_for_reduced(BalanceChoice(neutral=(101.5, 0)), 4).neutral == (25.0, 0.0)
    assert balance_for_reduced(BalanceChoice(warmth=5), 4).warmth == 5


@pytest.mark.parametrize(
    ("x", "y", "rows", "columns"),
    [(50, 30, (25, 35), (45, 55)), (0, 0, (0, 10), (0, 10)), (500, 500, (54, 64), (86, 96))],
)
def test_a_part_lies_within_the_picture(x, y, rows, columns):
    part = part_about(x, y, 10, (96, 64))
    assert (part.rows.start, part.rows.stop) == rows
    assert (part.columns.start, part.columns.stop) == columns


def test_a_part_is_the_part_of_the_whole(tmp_path):
    write_jpegs(tmp_path / "burst", 5, size=(96, 64))
    burst = open_burst(tmp_path / "burst")
    part = part_about(40, 30, 16, burst.size)
    for blend in ("mean", "median", "lighten", "lights"):
        settings = Settings(blends=(blend,), hold="still", first=2)
        whole = next(iter(expose_burst(burst, settings).values())).light
        shot = expose_part(burst, [1, 2, 3, 4], settings, part, Silent())
        cut = whole[part.rows.start : part.rows.stop, part.columns.start : part.columns.stop]
        # lights weighs what it sees of its surroundings, which here end nearby
        close = 0.05 if blend == "lights" else 1e-6
        np.testing.assert_allclose(shot.light, cut, atol=close)
        assert (shot.report["frames_used"], shot.open_s) == (4, 2.0)


def test_a_part_is_held_as_reduced_frames_were(tmp_path):
    """A shift of two reduced pixels is one of six at full size."""
    rng = np.random.default_rng(6)
    scene = rng.integers(0, 256, (96, 144, 3), np.uint8)
    write_tiffs(tmp_path, [scene, np.roll(scene, 6, axis=1)])
    burst = open_burst(tmp_path)
    small = reduce_burst(burst, 3)
    motions = [translation(0, 0), translation(-2, 0)]
    frames = {
        place: FrameMotion(motion, None, 0.0, True, None, 1.0, 1.0)
        for place, motion in enumerate(motions)
    }
    holding = held_to(small, "shift", 0, frames, {}, common=True)
    part = part_about(60, 40, 20, burst.size)
    shot = expose_part(burst, [0, 1], Settings(), part, Silent(), holding=holding, factor=3)
    truth = decode(scene, burst.encoding)[30:50, 50:70]
    np.testing.assert_allclose(shot.light, truth, atol=1e-5)


def test_shells_are_told_by_their_place(tmp_path):
    frames = [np.zeros((64, 96, 3), np.uint8) for _ in range(9)]
    for place, (x, value) in {2: (10, 200), 3: (10, 120), 6: (60, 220)}.items():
        frames[place][20:40, x : x + 20] = value
    write_tiffs(tmp_path, frames)
    burst = open_burst(tmp_path)
    slots = [None if place == 0 else frame for place, frame in enumerate(frames)]
    shells = shells_in(burst, slots)
    assert [(shell.first, shell.last) for shell in shells] == [(2, 3), (6, 6)]
    assert all(0.05 < shell.extent < 0.1 for shell in shells)
    assert shells_in(burst, [frames[0], *[None] * 8]) == []


class TestSettingsAsData:
    def test_they_come_back(self):
        data = {"blends": ["lighten"], "without": [2, 3], "exposure": 1.5, "subject": "traffic"}
        chosen = chosen_from(data)
        assert chosen.told() == data
        assert chosen_from(json.loads(json.dumps(chosen.told()))) == chosen
        assert chosen.settings.without == (2, 3)
        assert chosen.settings.floor == "true"
        assert chosen.finishing["exposure_ev"] == 1.5

    @pytest.mark.parametrize(
        "data",
        [{"first": 1.5}, {"first": True}, {"bridge": 1}, {"without": [1, "a"]}, {"without": 3},
         {"box": "1,2,3,4"}, {"hold": ["sky"]}, {"exposure": "much"}, {"subject": 3},
         {"gains": [1, None, 1]}, {"blends": "mean"}, {"overwrite": True}, {"": 1}],
    )  # fmt: skip
    def test_what_is_of_another_sort_is_refused(self, data):
        with pytest.raises(OptionError) as caught:
            chosen_from(data, "the page")
        assert str(caught.value).startswith("the page")

    def test_what_is_typed_takes_the_place_of_what_excludes_it(self):
        saved = Chosen({"last": 5, "warmth": 3, "hold": "subject", "box": (1, 2, 3, 4)}, "pan")
        typed = saved.under({"shutter_s": 2.0, "gains": (1, 1, 1), "hold": "still"}, None)
        assert typed.said == {"shutter_s": 2.0, "gains": (1, 1, 1), "hold": "still"}
        assert typed.subject == "pan"
        assert saved.under({}, "water").subject == "water"

    def test_a_file_may_hold_settings_alone_or_a_session(self, tmp_path):
        for number, data in enumerate(({"first": 2}, {"revision": 1, "settings": {"first": 2}})):
            path = tmp_path / f"{number}.json"
            path.write_text(json.dumps(data))
            assert read_settings(path).settings.first == 2
        with pytest.raises(OptionError) as caught:
            read_settings(tmp_path / "nothing.json")
        assert caught.value.code == "option-settings"

    def test_every_setting_has_its_sort(self):
        from stacker.engine import settings_file as file

        known = file.EXPOSING.keys() | file.FINISHING.keys() | file.OPENING.keys()
        assert known - {"subject"} <= file._SORTS.keys() | file._LISTS.keys()

    def test_masks_are_looked_for_beside_the_file(self, tmp_path):
        from stacker.engine.settings_file import masks_below

        (tmp_path / "sky.png").write_bytes(b"")
        said = {"first": 2, "regions": ({"mask": "sky.png"}, {"mask": "ground"})}
        found = masks_below(said, tmp_path)
        assert [each["mask"] for each in found["regions"]] == [str(tmp_path / "sky.png"), "ground"]
        assert masks_below({"first": 2}, tmp_path) == {"first": 2}


def test_a_report_page_of_a_preview_is_written(folder, tmp_path):
    pytest.importorskip("matplotlib")
    page = tmp_path / "x.html"
    words = ["expose", str(folder), "--preview", "--last", "3", "-o", str(tmp_path / "x.jpg")]
    assert run([*words, "--report", str(page)]) == 0
    assert page.stat().st_size > 1000


def test_tiff_of_a_preview_is_written_whole(folder, tmp_path):
    target = tmp_path / "x.tif"
    assert run(["expose", str(folder), "--preview", "-o", str(target), "--depth", "32"]) == 0
    assert tifffile.imread(target).shape == (32, 800, 3)
