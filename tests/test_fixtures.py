"""The files in ``fixtures/``: odd ones, small bursts, and golden pictures."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

import stacker
from stacker.blend import BLENDS
from stacker.errors import StackerError
from stacker.light.space import ADOBE_RGB, DISPLAY_P3, SRGB
from stacker.survey.likeness import psnr

FIXTURES = Path(__file__).parent.parent / "fixtures"
ODD = FIXTURES / "odd"
# what each odd file must come to: a burst of so many frames, or the code of its error
READ = {
    "adobe-rgb.jpg": 1, "alpha.png": 1, "bayer.dng": 1, "big-endian.tif": 1,
    "broken-profile.jpg": 1, "deep.avif": 1, "deep.heic": 1, "deep.png": 1, "deep.tif": 1,
    "display-p3.jpg": 1, "gray.jpg": 1, "gray.png": 1, "light.tif": 1, "lzw.tif": 1,
    "pages.tif": 3, "palette.png": 1, "plain.jpg": 1, "planes.tif": 1, "png-inside.jpg": 1,
    "progressive.jpg": 1, "several.heic": 3, "still.heic": 1, "still.webp": 1, "turned.dng": 1,
    "turned.jpg": 1, "uneven.mp4": 8, "zip-tiles.tif": 1,
}  # fmt: skip
REFUSED = {
    "black.dng", "cmyk.jpg", "cut.dng", "cut.heic", "cut.jpg", "cut.mp4", "cut.png", "empty.jpg",
    "infinite.tif", "nan.tif", "negative.tif", "sound.mp4", "words.jpg", "words.nef",
}  # fmt: skip
# a bit less than what they reached when they were made: dB from the truth
NEARNESS = {"harbour": ("mean", "exposure", 38.0), "quay": ("median", "empty", 36.0)}


def expose(name: str, **settings: object) -> stacker.Shot:
    return stacker.expose(stacker.open_burst(ODD / name), **settings)


def test_every_odd_file_has_its_row():
    assert {path.name for path in ODD.iterdir()} == set(READ) | REFUSED


@pytest.mark.parametrize("name", READ)
def test_is_read(name):
    shot = expose(name)
    assert shot.report["frames_used"] == READ[name]
    assert np.isfinite(shot.light).all()
    assert shot.light.max() > 0.1


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_is_refused_in_a_sentence_with_its_name(name):
    with pytest.raises(StackerError) as caught:
        expose(name)
    text = str(caught.value)
    assert name in text
    assert ";" in text, "says what to do"
    assert len(text) < 250


@pytest.mark.parametrize(
    "name", ["deep.tif", "lzw.tif", "zip-tiles.tif", "big-endian.tif", "planes.tif"]
)
def test_tiffs_of_all_forms_hold_the_same_picture(name):
    np.testing.assert_array_equal(expose(name).light, expose("deep.tif").light)


def test_sixteen_bits_of_a_png_are_kept(tmp_path):
    stacker.save(expose("deep.png"), tmp_path / "deep.tif")
    codes = tifffile.imread(tmp_path / "deep.tif")
    wanted = cv2.imread(str(ODD / "deep.png"), cv2.IMREAD_UNCHANGED)[:, :, ::-1]
    np.testing.assert_array_equal(codes, wanted)
    assert np.any(codes % 257)


@pytest.mark.parametrize(
    ("name", "space"),
    [("adobe-rgb.jpg", ADOBE_RGB), ("display-p3.jpg", DISPLAY_P3), ("plain.jpg", SRGB)],
)
@pytest.mark.parametrize("suffix", ["tif", "png", "jpg"])
def test_profiles_are_carried_through(name, space, suffix, tmp_path):
    shot = expose(name)
    plain = Image.open(ODD / "plain.jpg")
    codes = np.asarray(plain) / 255
    plain.close()
    # the same codes, made linear with the profile's own curve (parameters of 16 bits)
    np.testing.assert_allclose(shot.light, space.curve.to_light(codes), atol=1e-4)
    stacker.save(shot, tmp_path / f"out.{suffix}")
    if suffix == "tif":
        with tifffile.TiffFile(tmp_path / "out.tif") as file:
            icc = file.pages[0].tags[34675].value
    else:
        with Image.open(tmp_path / f"out.{suffix}") as picture:
            icc = picture.info["icc_profile"]
    assert icc == space.icc


def test_a_turned_frame_stands_upright():
    turned, plain = expose("turned.jpg").light, expose("plain.jpg").light
    assert turned.shape == (48, 32, 3)
    # orientation 6: the camera's left edge is the picture's top
    np.testing.assert_allclose(turned, np.rot90(plain, -1), atol=1e-6)


def test_raw_and_heic_hold_the_same_picture_as_the_others():
    with Image.open(ODD / "plain.jpg") as plain:
        shape = (plain.height, plain.width, 3)
    codes = np.round(SRGB.curve.from_light(expose("still.heic").light) * 255)
    assert codes.shape == shape
    deep = expose("deep.heic").light
    # ten bits of the same codes: half a code of 1023 at the steepest, 2.3 light a code value
    np.testing.assert_allclose(deep, SRGB.curve.to_light(codes / 255), atol=2.3 * 0.5 / 1023 + 1e-3)
    np.testing.assert_array_equal(deep, expose("deep.avif").light)
    raw = expose("bayer.dng").light
    # the sensor's light is the file's code values, away from edges that a mosaic blurs
    np.testing.assert_allclose(raw[14:-4, 16:-4], codes[14:-4, 16:-4] / 255, atol=0.02)
    np.testing.assert_array_equal(expose("turned.dng").light, np.rot90(raw, -1))


def test_time_stamps_of_an_uneven_clip():
    burst = stacker.open_burst(ODD / "uneven.mp4")
    starts = [frame.start_s * 25 for frame in burst.frames]
    assert starts == pytest.approx([0, 1, 2, 6, 7, 12, 13, 14])


@pytest.mark.parametrize("scene", ["harbour", "road", "stars", "quay"])
def test_bursts_are_read_with_their_clock(scene):
    burst = stacker.open_burst(FIXTURES / scene)
    told = json.loads((FIXTURES / scene / "truth" / "scene.json").read_text())
    assert len(burst.frames) == len(told["frames"])
    for frame, truth in zip(burst.frames, told["frames"], strict=True):
        # Exif holds milliseconds
        assert frame.start_s == pytest.approx(truth["start_s"], abs=2e-3)
        assert frame.shutter_s == pytest.approx(truth["shutter_s"], rel=1e-3)


@pytest.mark.parametrize("scene", NEARNESS)
def test_small_bursts_come_near_the_truth(scene):
    blend, truth, least_db = NEARNESS[scene]
    shot = stacker.expose(stacker.open_burst(FIXTURES / scene), blend=blend)
    light = tifffile.imread(FIXTURES / scene / "truth" / f"{truth}.tif")
    assert psnr(shot.light, light) > least_db


@pytest.mark.parametrize("blend", BLENDS)
def test_golden_pictures(blend, tmp_path):
    """Pixels as they were when last looked at; ``fixtures/make.py`` makes them again."""
    burst = stacker.open_burst(FIXTURES / "tiny")
    stacker.save(stacker.expose(burst, blend=blend), tmp_path / "now.tif")
    now = tifffile.imread(tmp_path / "now.tif")
    golden = tifffile.imread(FIXTURES / "golden" / f"{blend}.tif")
    np.testing.assert_array_equal(now, golden)
