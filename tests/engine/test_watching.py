"""Bursts from a tripod are watched while they add up: whatever is odd in them is found."""

from functools import cache

import numpy as np
import pytest
import tifffile

import stacker
from stacker.burst import Burst
from stacker.light.srgb import linear_to_srgb
from stacker.scenes import SCENES, render_scene
from tests.bursts import write_tiffs
from tests.register.scene.frames import ODD_STILL, burst_of
from tests.same_light import assert_same_light


def codes_of(name):
    return [np.rint(linear_to_srgb(f) * 255).astype(np.uint8) for f in burst_of(name).frames]


def opened(folder, codes):
    write_tiffs(folder, codes)
    return stacker.open_burst(folder)


def tripod(folder, place=3, odd=None):
    """Return a still burst of nine in which one frame, not among those looked at first, is odd."""
    codes = codes_of("long tripod")
    if odd is not None:
        codes[place] = odd(codes[place])
    return opened(folder, codes)


def bumped(codes):
    return np.roll(codes, (2, 3), axis=(0, 1))


def black(codes):
    return np.zeros_like(codes)


def flashed(codes):
    return np.clip(codes.astype(int) // 2 + 150, 0, 255).astype(np.uint8)


def left_out(shot):
    return {frame["number"] - 1: frame["why"] for frame in shot.report["frames"] if frame["why"]}


@pytest.mark.parametrize("name", ["odd tripod", "odd tripod night"])
def test_frames_that_show_something_else_are_left_out(tmp_path, name):
    burst = opened(tmp_path, codes_of(name))
    shot = stacker.expose(burst)
    assert left_out(shot).keys() == set(ODD_STILL)
    without = tuple(place + 1 for place in ODD_STILL)
    assert_same_light(shot.light, stacker.expose(burst, hold="still", without=without).light)


@pytest.mark.parametrize(
    ("odd", "word"), [(bumped, "camera moved"), (black, "black"), (flashed, "flash")]
)
@pytest.mark.parametrize("settings", [{}, {"blend": "darken"}, {"workers": 1}, {"workers": 3}])
def test_one_odd_frame_is_left_out_with_the_reason(tmp_path, odd, word, settings):
    burst = tripod(tmp_path, odd=odd)
    shot = stacker.expose(burst, **settings)
    why = left_out(shot)
    assert why.keys() == {3} and word in why[3]
    assert sum("left out: KP_0004.tif" in w for w in shot.report["warnings"]) == 1
    plain = stacker.expose(burst, hold="still", without=(4,), **settings)
    assert_same_light(shot.light, plain.light)


def test_light_is_the_subject_where_the_greatest_is_kept(tmp_path):
    burst = tripod(tmp_path, odd=flashed)
    for blends in ({"blend": "lighten"}, {"blend": "max"}):
        shot = stacker.expose(burst, **blends)
        assert not left_out(shot)
        assert any("used all the same" in w and "KP_0004" in w for w in shot.report["warnings"])
        assert_same_light(shot.light, stacker.expose(burst, hold="still", **blends).light)
    both = stacker.expose_several(burst, blends=["mean", "lighten"])
    assert not any(left_out(shot) for shot in both.values())
    moved = tripod(tmp_path / "moved", odd=bumped)
    assert left_out(stacker.expose(moved, blend="lighten")).keys() == {3}


def test_weights_and_spans_count_as_ever(tmp_path):
    burst = tripod(tmp_path, odd=bumped)
    for settings in (
        {"weights": (1, 2, 3, 4, 5, 4, 3, 2, 1)},
        {"first": 2, "last": 9},
    ):
        shot = stacker.expose(burst, **settings)
        assert 3 in left_out(shot)
        still = stacker.expose(burst, hold="still", without=(4,), **settings)
        assert_same_light(shot.light, still.light)
    assert not left_out(stacker.expose(burst, first=5))


def test_a_still_burst_is_decoded_once_and_comes_out_bit_for_bit(tmp_path, monkeypatch):
    burst = tripod(tmp_path)
    decoded = []
    plain_decode = Burst.decode

    def counting(self, places, **choices):
        decoded.extend(places)
        return plain_decode(self, places, **choices)

    plain = stacker.expose(burst, hold="still")
    monkeypatch.setattr(Burst, "decode", counting)
    shot = stacker.expose(burst)
    assert_same_light(shot.light, plain.light)
    # five of them before, for want of a reader that makes small copies of TIFFs
    assert len(decoded) == 9 + 5


@pytest.mark.parametrize("memory", [None, 300 * 10**6])
def test_watching_needs_no_whole_picture_in_memory(tmp_path, memory):
    burst = tripod(tmp_path, odd=bumped)
    shot = stacker.expose(burst, blend="median", memory=memory)
    assert left_out(shot).keys() == {3}


def test_dusk_is_not_odd(tmp_path):
    codes = []
    for number, light in enumerate(burst_of("long tripod").frames):
        gain = 2.0 ** (1 - number / 4)
        codes.append(np.rint(linear_to_srgb(np.clip(light * gain, 0, 1)) * 255).astype(np.uint8))
    burst = opened(tmp_path, codes)
    for even in ("off", "auto"):
        shot = stacker.expose(burst, even=even)
        assert not left_out(shot)
        assert_same_light(shot.light, stacker.expose(burst, even=even, hold="still").light)


@pytest.fixture(scope="session")
def scene(tmp_path_factory):
    """Give the folder with a short burst of a scene, made once."""

    @cache
    def make(name):
        folder = tmp_path_factory.mktemp("scenes") / name
        render_scene(name, folder, frames=7, size=(480, 320))
        return folder

    return make


LIGHT_TO_DRAW = ("quay", "road", "stars")


@pytest.mark.parametrize(
    "name",
    [n if n in LIGHT_TO_DRAW else pytest.param(n, marks=pytest.mark.heavy) for n in SCENES],
)
def test_the_scenes_of_kestrel_point_come_out_as_they_lie(scene, name):
    burst = stacker.open_burst(scene(name))
    for blend in ("mean", "lighten"):
        shot = stacker.expose(burst, blend=blend)
        assert not left_out(shot)
        assert_same_light(shot.light, stacker.expose(burst, blend=blend, hold="still").light)


def test_frames_of_one_file_are_watched_too(tmp_path):
    codes = codes_of("long tripod")
    # beyond the part that is looked at before
    codes[6] = bumped(codes[6])
    tifffile.imwrite(tmp_path / "pages.tif", np.stack(codes), photometric="rgb")
    burst = stacker.open_burst(tmp_path / "pages.tif")
    shot = stacker.expose(burst)
    assert left_out(shot).keys() == {6}
    plain = stacker.expose(burst, hold="still", without=(7,))
    assert_same_light(shot.light, plain.light)


def test_corrected_frames_are_watched_as_they_are_blended(tmp_path):
    burst = tripod(tmp_path / "burst", odd=bumped)
    rng = np.random.default_rng(4)
    shape = codes_of("long tripod")[0].shape
    write_tiffs(tmp_path / "dark", [rng.integers(0, 4, shape, dtype=np.uint8) for _ in range(3)])
    darks = {"darks": (tmp_path / "dark",)}
    shot = stacker.expose(burst, **darks)
    assert left_out(shot).keys() == {3}
    plain = stacker.expose(burst, hold="still", without=(4,), **darks)
    assert_same_light(shot.light, plain.light)


def test_the_frame_in_the_middle_may_be_the_bumped_one(tmp_path):
    """The others are looked at from there first, and all of them seem to have moved."""
    shot = stacker.expose(tripod(tmp_path, place=4, odd=bumped))
    assert left_out(shot).keys() == {4}
    assert shot.report["motion_model"] == "identity"
