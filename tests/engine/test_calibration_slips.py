"""What goes wrong when calibration frames are chosen by hand, and what is said about it."""

import json

import numpy as np
import pytest
from dng import Sensor, mosaic, write_dng

import stacker
from stacker.burst import open_burst
from stacker.engine import Silent, save
from stacker.engine.masters import make_master
from stacker.errors import FrameError
from stacker.finish.master import save_master
from stacker.version import PROGRAM
from tests.burst.made_files import picture, write_jpeg
from tests.bursts import write_tiffs

SENSOR = Sensor()
SHAPE = (48, 64)
DARK = 300


def write_darks(folder, orientations):
    folder.mkdir()
    codes = np.full(SHAPE, SENSOR.black + DARK, np.uint16)
    for number, orientation in enumerate(orientations):
        write_dng(folder / f"d{number}.dng", codes, SENSOR, orientation=orientation)
    return str(folder)


@pytest.fixture
def raw(tmp_path):
    """Return a folder of raw frames of a quarter of white, with a dark signal."""
    folder = tmp_path / "frames"
    folder.mkdir()
    codes = mosaic(np.full((*SHAPE, 3), 0.25), SENSOR) + np.uint16(DARK)
    for number in range(3):
        write_dng(folder / f"f{number}.dng", codes, SENSOR)
    return folder


@pytest.fixture
def finished(tmp_path):
    """Return folders of finished pictures: frames, and darks that are none."""
    write_tiffs(tmp_path / "frames", [np.full((16, 24, 3), 20000, np.uint16)] * 3)
    write_tiffs(tmp_path / "bright", [np.full((16, 24, 3), 40000, np.uint16)] * 3)
    return tmp_path


def warnings_of(folder, **settings):
    return " ".join(stacker.expose(open_burst(folder), **settings).report["warnings"])


def test_darks_belong_together_however_the_camera_lay(raw, tmp_path):
    darks = write_darks(tmp_path / "darks", (1, 6, 3, 8))
    shot = stacker.expose(open_burst(raw), darks=(darks,))
    assert shot.report["calibration"]["dark"]["frames"] == 4
    # a code of 15360 either way, before the white balance doubles it
    np.testing.assert_allclose(shot.light, 0.25, atol=2 * 0.5 / 15360)


@pytest.mark.parametrize("choice", [{"darks": ("dark",)}, {"hot_pixels": "mend"}])
def test_a_frame_stored_at_a_right_angle_to_the_first_is_refused(tmp_path, choice):
    frames = tmp_path / "frames"
    frames.mkdir()
    for name in "acd":
        write_jpeg(frames / f"{name}.jpg", picture(1))
    write_jpeg(frames / "b.jpg", picture(2, size=(16, 24)), orientation=6)
    write_tiffs(tmp_path / "dark", [np.zeros((16, 24, 3), np.uint16)] * 2)
    if "darks" in choice:
        choice = {"darks": (str(tmp_path / "dark"),)}
    with pytest.raises(FrameError, match="at a right angle") as caught:
        stacker.expose(open_burst(frames), **choice)
    assert str(caught.value.where).endswith("b.jpg")
    shot = stacker.expose(open_burst(frames), on_bad="skip", **choice)
    assert shot.report["frames_used"] == 3


def test_one_dark_alone_is_told_and_that_patterns_want_quotes(raw, tmp_path):
    darks = write_darks(tmp_path / "darks", (1,))
    said = warnings_of(raw, darks=(darks,))
    assert "the darks are one frame only" in said and "in quotes" in said


def test_darks_that_are_left_out_are_told(raw, tmp_path):
    darks = write_darks(tmp_path / "darks", (1, 1, 1))
    cut = tmp_path / "darks" / "d1.dng"
    cut.write_bytes(cut.read_bytes()[:-500])
    said = warnings_of(raw, darks=(darks,), on_bad="skip")
    assert "1 of 3 darks cannot be read and are left out" in said


def test_frames_taken_out_of_themselves_are_told(finished):
    said = warnings_of(finished / "frames", darks=(str(finished / "frames"),))
    assert "the darks and the burst share 3 files" in said


@pytest.mark.parametrize(("code", "told"), [(40000, True), (12000, False)])
def test_darks_as_bright_as_a_picture_are_told(finished, code, told):
    write_tiffs(finished / "darks", [np.full((16, 24, 3), code, np.uint16)] * 3)
    said = warnings_of(finished / "frames", darks=(str(finished / "darks"),))
    assert ("the darks are as bright as" in said) is told


def test_raw_darks_of_daylight_are_told(raw, tmp_path):
    with pytest.raises(FrameError, match="nothing is left of it once the darks are subtracted"):
        stacker.expose(open_burst(raw), darks=(str(raw),))
    darks = tmp_path / "darks"
    darks.mkdir()
    for number in range(2):
        codes = mosaic(np.full((*SHAPE, 3), 0.2), SENSOR)
        write_dng(darks / f"d{number}.dng", codes, SENSOR)
    # of white: green has 20 %, red half of that, blue 5/8
    assert "as bright as 16% of white" in warnings_of(raw, darks=(str(darks),))


def test_a_master_is_no_frame(raw, tmp_path):
    darks = write_darks(tmp_path / "darks", (1, 1, 1))
    target = tmp_path / "darks" / "master.tif"
    master = make_master("dark", open_burst(darks), progress=Silent())
    save_master(target, master, software=PROGRAM)
    with pytest.raises(FrameError, match="it is a master dark and no frame"):
        open_burst(target)
    with pytest.raises(FrameError, match="give it as --dark, by itself"):
        stacker.expose(open_burst(raw), darks=(str(target), darks))
    # nobody named it: it lies among the frames
    assert len(open_burst(darks).frames) == 3


def test_masters_may_be_named_by_paths(finished):
    shot = stacker.expose(open_burst(finished / "frames"), darks=(finished / "bright",))
    report = save(shot, finished / "out.tif")
    assert json.loads(json.dumps(report))["settings"]["darks"] == [str(finished / "bright")]
