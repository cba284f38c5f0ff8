"""Planes taken out of the frames of a burst on disk, and kept where that is asked for."""

from datetime import timedelta

import numpy as np
import pytest
from PIL import Image

import stacker
from stacker.engine.planes import encoded
from stacker.light.encoding import Encoding, decode
from stacker.light.space import SRGB
from tests.benchmarks.passing_planes import BusyNight, Passer
from tests.benchmarks.star_trails import _codes
from tests.benchmarks.trailed_nights import Night
from tests.bursts import START, exif_block, write_jpegs

NIGHT = Night("small", gap=0.1, size=(600, 400), frames=4, stars=80, steps=12, hot_pixels=10)
PLANE = Passer((-0.05, 0.3), (0.4, 0.1), 0.0, 2.6, steady=20, strobe=100, flashes=4)


@pytest.fixture(scope="module")
def busy(tmp_path_factory):
    """Return a burst with a plane in its first three frames, and the plane's light in each."""
    folder = tmp_path_factory.mktemp("busy")
    night = BusyNight(NIGHT, 1, [PLANE])
    for number, light in enumerate(night.with_passers()):
        start = START + timedelta(seconds=night.exposed[number].start_s)
        exif = exif_block(start, NIGHT.shutter_s)
        picture = Image.fromarray(_codes(light))
        picture.save(folder / f"KP_{number + 1:04d}.jpg", quality=95, exif=exif)
    layers = [night.layer(n, meteors=False) for n in range(NIGHT.frames)]
    return stacker.open_burst(folder), np.max(layers, axis=0)


def test_a_plane_is_taken_out_unless_it_is_to_be_kept(busy):
    burst, plane = busy
    clear = stacker.expose(burst, subject="star-trails")
    kept = stacker.expose(burst, subject="star-trails", planes="keep")
    flown = plane.max(axis=2) > 0.05
    gone = (kept.light - clear.light)[flown].sum()
    # what the lighten of the frames shows above the sky is nearly all the plane's
    assert gone > 0.9 * plane[flown].sum() * 0.9
    found = clear.report["planes"]
    assert {each["frame"] for each in found["taken_out"]} <= {f"KP_000{n}.jpg" for n in (1, 2, 3)}
    assert found["streaks"] >= 2 and found["passages"] == 1
    (note,) = [words for words in clear.report["warnings"] if "--keep-planes" in words]
    assert "taken out of KP_0001.jpg" in note
    assert "planes" not in kept.report
    assert clear.report["settings"]["planes"] == "out"


def test_the_frames_are_not_written_to_and_any_number_of_workers_gives_the_same(busy):
    burst, _ = busy
    one = stacker.expose(burst, subject="star-trails", workers=1, bridge=False)
    two = stacker.expose(burst, subject="star-trails", workers=3, bridge=False)
    np.testing.assert_array_equal(one.light, two.light)
    assert burst.retouch is None


def test_without_stars_a_note_says_that_planes_were_not_looked_for(tmp_path):
    write_jpegs(tmp_path / "burst", 3)
    shot = stacker.expose(stacker.open_burst(tmp_path / "burst"), subject="star-trails")
    assert any(words.startswith("planes were not looked for") for words in shot.report["warnings"])


def test_a_frame_that_cannot_be_read_is_skipped_or_stops_the_search(tmp_path):
    write_jpegs(tmp_path / "burst", 4)
    path = tmp_path / "burst" / "KP_0002.jpg"
    path.write_bytes(path.read_bytes()[:-400])
    burst = stacker.open_burst(tmp_path / "burst")
    with pytest.raises(stacker.FrameError, match="--on-bad skip"):
        stacker.expose(burst, subject="star-trails", even="off")
    shot = stacker.expose(burst, subject="star-trails", on_bad="skip", even="off")
    assert [frame["used"] for frame in shot.report["frames"]] == [True, False, True, True]


@pytest.mark.parametrize("stored", ["uint8", "uint16"])
def test_light_of_a_code_is_stored_as_that_code(stored):
    encoding = Encoding(stored, SRGB)
    step = 1 if stored == "uint8" else 97
    codes = np.arange(0, encoding.top + 1, step).astype(stored)
    codes = np.repeat(codes[:, None], 3, axis=1)
    np.testing.assert_array_equal(encoded(decode(codes, encoding), encoding), codes)
