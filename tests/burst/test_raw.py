"""Raw frames: light in, codes of that light out, and never a black picture in place of an error."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from dng import SRGB_OF_XYZ, Sensor, mosaic, write_dng

import stacker
from stacker.burst import open_burst
from stacker.burst.orientation import turn_upright
from stacker.burst.readers.facts import Development
from stacker.burst.readers.raw import RawReader
from stacker.errors import FrameError, OptionError
from stacker.light.curves import LINEAR
from stacker.light.space import SRGB

Light = np.typing.NDArray[Any]
SIZE = (40, 56)
NOON = datetime(2026, 6, 1, 12, 0, 0)
# half a sensor code of 15360, two rounded 16-bit codes, and the matrix in four decimals
TOLERANCE = 2e-4


def flat(*colour: float) -> Light:
    return np.broadcast_to(np.array(colour, np.float64), (*SIZE, 3))


def light_of(path: Path, **settings: Any) -> Light:
    return stacker.expose(open_burst(path, **settings)).light


def shoot(path: Path, light: Light, sensor: Sensor | None = None, **exif: Any) -> Path:
    sensor = sensor or Sensor()
    return write_dng(path, mosaic(light, sensor), sensor, **exif)


def refusal(path: Path) -> FrameError:
    with pytest.raises(FrameError) as caught:
        light_of(path)
    assert path.name in str(caught.value) and ";" in str(caught.value)
    return caught.value


@pytest.mark.parametrize(
    "colour", [(0.18, 0.18, 0.18), (0.3, 0.2, 0.1), (0.02, 0.4, 0.05), (0.9, 0.01, 0.6)]
)
@pytest.mark.parametrize("order", ["<", ">"])
def test_flat_colours_come_out_as_their_light(tmp_path, colour, order):
    light = light_of(shoot(tmp_path / "a.dng", flat(*colour), order=order))
    assert light.shape == (*SIZE, 3)
    np.testing.assert_allclose(light, flat(*colour), atol=TOLERANCE)


def test_a_camera_with_colours_of_its_own(tmp_path):
    """A matrix that mixes the channels is undone: sensor colours M x light, M rows summing to 1."""
    mixing = np.array([[0.7, 0.2, 0.1], [0.15, 0.75, 0.1], [0.05, 0.25, 0.7]])
    matrix = tuple(map(tuple, mixing @ np.array(SRGB_OF_XYZ)))
    sensor = Sensor(matrix=matrix)
    wanted = np.array([0.5, 0.3, 0.1])
    light = light_of(shoot(tmp_path / "a.dng", flat(*(mixing @ wanted)), sensor))
    # the library takes the camera's matrix to white in its own way: four digits agree
    np.testing.assert_allclose(light, flat(*wanted), atol=1e-3)


@pytest.mark.parametrize(("black", "white"), [(0, 4095), (512, 15872), (2048, 16383)])
def test_black_and_white_levels_are_honoured(tmp_path, black, white):
    sensor = Sensor(black=black, white=white)
    burst = open_burst(shoot(tmp_path / "a.dng", flat(0.25, 0.25, 0.25), sensor))
    assert (burst.development.black, burst.development.white) == (black, white)
    # half a sensor code, twice that for the weakest channel, and rounding
    within = 1.0 / (white - black) + 2 / 65535
    np.testing.assert_allclose(stacker.expose(burst).light, 0.25, atol=within)


def test_frames_keep_their_ratio_whatever_is_brightest_in_them(tmp_path):
    """Neither frame is scaled by its own greatest value."""
    dim, bright = flat(0.05, 0.05, 0.05), flat(0.05, 0.05, 0.05).copy()
    bright[:, 40:] = 0.9
    one = light_of(shoot(tmp_path / "dim.dng", dim))
    two = light_of(shoot(tmp_path / "bright.dng", bright))
    # away from the edge of the bright part
    np.testing.assert_array_equal(one[:, :30], two[:, :30])
    half = light_of(shoot(tmp_path / "half.dng", dim * 16))
    np.testing.assert_allclose(half / one, 16, rtol=2e-3)


def test_the_first_frame_balances_all(tmp_path):
    """The same sensor codes give the same light, though each frame tells another balance."""
    codes = mosaic(flat(0.2, 0.2, 0.2), Sensor())
    for number, neutral in enumerate([(0.5, 1.0, 0.625), (1.0, 0.8, 0.4), (0.3, 1.0, 0.9)]):
        path = tmp_path / f"{number}.dng"
        write_dng(path, codes, Sensor(neutral=neutral), taken=NOON.replace(second=number))
    burst = open_burst(tmp_path)
    assert burst.development.white_balance == pytest.approx((2.0, 1.0, 1.6, 1.0))
    assert len({frame.development for frame in burst.frames}) == 1
    pictures = [next(burst.decode([place]))[1].copy() for place in range(3)]
    np.testing.assert_array_equal(pictures[0], pictures[1])
    np.testing.assert_array_equal(pictures[0], pictures[2])
    alone = light_of(tmp_path / "1.dng")
    assert np.abs(alone - pictures[0] / 65535).max() > 0.05


def test_the_first_frame_is_the_first_sound_one(tmp_path):
    first = shoot(tmp_path / "0.dng", flat(0.2, 0.2, 0.2))
    first.write_bytes(first.read_bytes()[:-50])
    shoot(tmp_path / "1.dng", flat(0.2, 0.2, 0.2), Sensor(neutral=(1.0, 1.0, 1.0)))
    shoot(tmp_path / "2.dng", flat(0.2, 0.2, 0.2))
    assert open_burst(tmp_path).development.white_balance == pytest.approx((1, 1, 1, 1))


def test_another_black_level_in_a_later_frame_keeps_the_scale(tmp_path):
    for number, black in enumerate([512, 520]):
        sensor = Sensor(black=black, white=15872 + black - 512)
        shoot(tmp_path / f"{number}.dng", flat(0.3, 0.3, 0.3), sensor)
    burst = open_burst(tmp_path)
    pictures = [next(burst.decode([place]))[1].copy() for place in range(2)]
    np.testing.assert_array_equal(*pictures)


def test_what_is_burnt_out_is_white(tmp_path):
    """Light beyond what the weakest channel bears is cut at 1.0 in all of them, without a tint."""
    shot = stacker.expose(open_burst(shoot(tmp_path / "a.dng", flat(3.0, 3.0, 3.0))))
    # one code of 65535 for the matrix
    np.testing.assert_allclose(shot.light, 1.0, atol=2 / 65535)
    assert shot.report["frames"][0]["clipped"] == 1.0


def test_blended_highlights_are_darker_and_reach_further(tmp_path):
    path = shoot(tmp_path / "a.dng", flat(0.4, 0.4, 0.4))
    # the greatest factor of the white balance is 2.0, the least 1.0
    np.testing.assert_allclose(light_of(path, highlights="blend"), 0.2, atol=TOLERANCE)
    bright = shoot(tmp_path / "b.dng", flat(1.3, 0.6, 0.6))
    assert light_of(bright)[..., 0].max() == pytest.approx(1.0, abs=TOLERANCE)
    # cut it would be 0.5 in the darker picture
    assert light_of(bright, highlights="blend")[..., 0].min() > 0.54


def test_highlights_of_an_unknown_sort_are_refused(tmp_path):
    path = shoot(tmp_path / "a.dng", flat(0.4, 0.4, 0.4))
    with pytest.raises(OptionError, match="clip"):
        open_burst(path, highlights="rebuild")


def test_linear_codes_leave_as_srgb(tmp_path):
    burst = open_burst(shoot(tmp_path / "a.dng", flat(0.18, 0.18, 0.18)))
    assert burst.encoding.curve == LINEAR and burst.encoding.space is SRGB
    for blend in ("mean", "lighten", "median", "max", "trimmed"):
        shot = stacker.expose(burst, blend=blend)
        stacker.save(shot, tmp_path / "a.tif", overwrite=True)
        with tifffile.TiffFile(tmp_path / "a.tif") as file:
            assert file.pages[0].tags[34675].value == SRGB.icc
            codes = file.asarray()
        # 18 % grey in sRGB
        np.testing.assert_allclose(codes / 65535, 0.46136, atol=3e-4)
    assert shot.report["colour_space"] == "sRGB"
    assert shot.report["development"]["white"] == 15872


@pytest.mark.parametrize("orientation", range(1, 9))
def test_turned_as_its_tag_says(tmp_path, orientation):
    light = flat(0.1, 0.1, 0.1).copy()
    light[:16, :16] = (0.8, 0.1, 0.1)
    lying = light_of(shoot(tmp_path / "1.dng", light))
    turned = light_of(shoot(tmp_path / "2.dng", light, orientation=orientation))
    np.testing.assert_array_equal(turned, turn_upright(lying, orientation))


def test_the_shot_is_known_from_the_file_itself(tmp_path):
    path = shoot(tmp_path / "a.dng", flat(0.2, 0.2, 0.2), taken=NOON, shutter=(1, 4))
    (frame,) = open_burst(path).frames
    assert (frame.taken, frame.shutter_s) == (NOON, 0.25)
    assert frame.camera == "Kestrel Raw" and frame.exif is not None


def test_memory_is_planned_for_developing(tmp_path):
    """The mosaic and four channels of every pixel, 10 bytes, for the one worker there is."""
    path = shoot(tmp_path / "a.dng", flat(0.2, 0.2, 0.2))
    stacker.save(stacker.expose(open_burst(path)), tmp_path / "a.tif")
    raw, tiff = (stacker.expose(open_burst(tmp_path / name)) for name in ("a.dng", "a.tif"))
    planned = [shot.report["passes"]["planned_peak_bytes"] for shot in (raw, tiff)]
    assert planned[0] - planned[1] == 10 * SIZE[0] * SIZE[1]


def test_half_size_for_previews(tmp_path):
    path = shoot(tmp_path / "a.dng", flat(0.3, 0.2, 0.1))
    reader = RawReader(half=True)
    (facts,) = reader.inspect(path)
    ((_, pixels),) = reader.decode(path, [0], out=None)
    assert facts.size == (SIZE[1] // 2, SIZE[0] // 2) and pixels.shape == (20, 28, 3)
    np.testing.assert_allclose(pixels / 65535, flat(0.3, 0.2, 0.1)[:20, :28], atol=TOLERANCE)


def test_every_cut_is_noticed(tmp_path):
    path = shoot(tmp_path / "a.dng", flat(0.2, 0.2, 0.2), taken=NOON, shutter=(1, 4))
    data = path.read_bytes()
    for length in [*range(12, len(data), 61), len(data) - 1]:
        path.write_bytes(data[:length])
        assert refusal(path).code == "frame-truncated"


def test_a_cut_frame_among_sound_ones_is_skipped(tmp_path):
    for number in range(3):
        shoot(tmp_path / f"{number}.dng", flat(0.2, 0.2, 0.2))
    bad = tmp_path / "1.dng"
    bad.write_bytes(bad.read_bytes()[:-2000])
    shot = stacker.expose(open_burst(tmp_path), on_bad="skip")
    assert shot.report["frames_used"] == 2
    np.testing.assert_allclose(shot.light, 0.2, atol=TOLERANCE)


def test_black_is_an_error(tmp_path):
    sensor = Sensor()
    path = write_dng(tmp_path / "a.dng", np.full(SIZE, sensor.black, np.uint16), sensor)
    assert refusal(path).code == "frame-black"


def test_what_is_no_raw_file_is_refused(tmp_path):
    pointer = tmp_path / "pointer.NEF"
    pointer.write_text("version 1\noid sha256:0123456789abcdef\nsize 24117248\n")
    assert refusal(pointer).code == "frame-unreadable"
    picture = tmp_path / "picture.arw"
    tifffile.imwrite(picture, np.zeros((16, 16, 3), np.uint8), photometric="rgb")
    assert refusal(picture).code in ("frame-unsupported", "frame-unreadable")
    nothing = tmp_path / "nothing.dng"
    nothing.write_bytes(b"II*\0" + bytes(2000))
    assert refusal(nothing).code in ("frame-unsupported", "frame-truncated", "frame-unreadable")
    for name, head in (("a.raf", b"FUJIFILMCCD-RAW "), ("a.cr3", b"\0\0\0\x18ftypcrx ")):
        path = tmp_path / name
        path.write_bytes(head + bytes(200))
        assert refusal(path).code.startswith("frame-")


def test_levels_that_leave_no_room_are_refused(tmp_path):
    sensor = replace(Sensor(), black=4000, white=4000)
    path = write_dng(tmp_path / "a.dng", np.full(SIZE, 4000, np.uint16), sensor)
    refusal(path)


def test_without_the_library_the_error_names_the_extra(tmp_path, monkeypatch):
    path = shoot(tmp_path / "a.dng", flat(0.2, 0.2, 0.2))
    monkeypatch.setitem(sys.modules, "rawpy", None)
    error = refusal(path)
    assert error.code == "library-missing" and "stacker[raw]" in error.remedy


def test_developing_leaves_the_reader_as_it_was():
    reader = RawReader()
    chosen = Development((2.0, 1.0, 1.5, 1.0), 0, 4095)
    assert reader.developing(chosen).chosen == chosen and reader.chosen is None


def test_half_size_is_each_cell_of_four_places(tmp_path: Path) -> None:
    """Two greens, a red and a blue become one pixel: nothing is interpolated."""
    mosaic = np.random.default_rng(2).integers(600, 3000, (40, 60)).astype(np.uint16)
    write_dng(tmp_path / "a.dng", mosaic)
    whole, half = open_burst(tmp_path), open_burst(tmp_path, half=True)
    assert whole.size == (60, 40) and half.size == (30, 20)
    ((_, pixels),) = half.decode([0])
    assert pixels.shape == (20, 30, 3)
    assert half.development == whole.development
    ((_, full),) = whole.decode([0])
    # demosaicing only guesses between: the mean light is the same within some per cent
    assert pixels.mean() == pytest.approx(full.mean(), rel=0.05)
