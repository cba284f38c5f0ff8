"""Where nobody asked for it, bursts shot by hand are held, and all others come out as they lie."""

import numpy as np
import pytest

import stacker
from stacker.burst import Burst
from stacker.errors import BurstError, OptionError
from stacker.light.srgb import linear_to_srgb
from tests.bursts import write_jpegs, write_tiffs
from tests.register.scene.frames import ODD, SIZE, burst_of
from tests.same_light import assert_same_light

WIDTH, HEIGHT = SIZE


def codes_of(lights):
    """Return light as 8-bit codes with a bit of noise."""
    rng = np.random.default_rng(11)
    noisy = [np.clip(light + rng.normal(0, 0.002, (*light.shape[:2], 3)), 0, 1) for light in lights]
    return [np.rint(linear_to_srgb(light) * 255).astype(np.uint8) for light in noisy]


def write(folder, name, numbers=None):
    frames = burst_of(name).frames
    numbers = range(len(frames)) if numbers is None else numbers
    codes = [np.rint(linear_to_srgb(frames[n]) * 255).astype(np.uint8) for n in numbers]
    write_tiffs(folder, codes)
    return folder


def told(shot):
    """Return the warnings but for that of the missing clock."""
    return [words for words in shot.report["warnings"] if not words.startswith("Capture times")]


def spots(places, light, sigma):
    """Return soft spots of light on a dark sky, (H, W, 1)."""
    sky = np.full((HEIGHT, WIDTH), 0.004)
    for (x, y), bright in zip(places, light, strict=True):
        left, top = int(x) - 6, int(y) - 6
        if left < 0 or top < 0 or left + 13 > WIDTH or top + 13 > HEIGHT:
            continue
        ys, xs = np.mgrid[top : top + 13, left : left + 13]
        spot = bright * np.exp(-((xs - x) ** 2 + (ys - y) ** 2) / (2 * sigma**2))
        sky[top : top + 13, left : left + 13] += spot
    return sky[:, :, None]


def turning_stars(foreground):
    rng = np.random.default_rng(5)
    stars, light = rng.uniform(-100, 600, (420, 2)), rng.uniform(0.05, 0.9, 420)
    pole = np.array([300.0, -60.0])
    ground = rng.uniform(0.01, 0.3, (10, 60, 1)).repeat(8, 0).repeat(8, 1)
    lights = []
    for number in range(10):
        a = np.deg2rad(0.5 * number)
        turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
        picture = spots((stars - pole) @ turn.T + pole, light, 1.1)
        if foreground:
            picture[-80:] = ground
        lights.append(picture)
    return lights


def pan():
    world = np.random.default_rng(6).uniform(0.05, 0.8, (40, 160, 1)).repeat(8, 0).repeat(8, 1)
    return [world[:, 40 * n : 40 * n + WIDTH] for n in range(8)]


def lamp_in_the_dark():
    place = [(60 + 50 * number, 160 + 60 * (-1) ** number) for number in range(8)]
    return [spots([p], [3.0], 2.5) for p in place]


def unlike_each_other():
    rng = np.random.default_rng(7)
    return [rng.uniform(0.1, 0.9, (40, 60, 1)).repeat(8, 0).repeat(8, 1) for _ in range(6)]


def grey_sky():
    return [np.full((HEIGHT, WIDTH, 1), 0.3)] * 5


@pytest.mark.parametrize(
    ("lights", "words"),
    [
        (turning_stars(True), None),
        (turning_stars(False), "drifts slowly and evenly"),
        (pan(), "drifts slowly and evenly"),
        (lamp_in_the_dark(), None),
        (unlike_each_other(), "can be held to one view"),
        (grey_sky(), "as they lie"),
    ],
    ids=["trails over ground", "trails alone", "pan", "light painting", "unlike", "sky"],
)
@pytest.mark.parametrize("blend", ["mean", "lighten"])
def test_what_is_not_a_hands_motion_comes_out_as_it_lies(tmp_path, lights, words, blend):
    write_tiffs(tmp_path / "burst", codes_of(lights))
    burst = stacker.open_burst(tmp_path / "burst")
    shot, plain = (stacker.expose(burst, blend=blend, **h) for h in ({}, {"hold": "still"}))
    assert_same_light(shot.light, plain.light)
    assert shot.report["hold"] == "scene" and shot.report["motion_model"] == "identity"
    if words is not None:
        (warning,) = (w for w in shot.report["warnings"] if "as they lie" in w)
        assert words in warning and "--hold scene" in warning and "--hold still" in warning


@pytest.mark.parametrize("name", ["tripod", "tripod night"])
def test_a_still_burst_is_looked_at_in_small_copies_alone(tmp_path, name):
    burst = stacker.open_burst(write(tmp_path / "burst", name))
    for settings in ({}, {"blend": "lighten", "floor": "true"}, {"blend": "median"}):
        shot = stacker.expose(burst, **settings)
        assert_same_light(shot.light, stacker.expose(burst, hold="still", **settings).light)
        assert told(shot) == []


@pytest.mark.parametrize("name", ["day", "touched"])
def test_a_burst_that_moved_is_held_as_if_asked(tmp_path, name):
    burst = stacker.open_burst(write(tmp_path / "burst", name))
    shot = stacker.expose(burst)
    assert shot.report["motion_model"] not in ("identity", "still")
    assert any("the camera moved" in words for words in told(shot))
    assert_same_light(shot.light, stacker.expose(burst, hold="scene").light)


def test_odd_frames_of_a_handheld_burst_are_left_out(tmp_path):
    shot = stacker.expose(stacker.open_burst(write(tmp_path / "burst", "odd")))
    assert {n for n, frame in enumerate(shot.report["frames"]) if frame["why"]} == set(ODD)
    assert sum("left out" in warning for warning in shot.report["warnings"]) == len(ODD)


def test_one_frame_two_frames_and_tiny_ones_do_as_before(tmp_path):
    for count in (1, 2):
        burst = stacker.open_burst(write(tmp_path / f"{count}", "tripod", range(count)))
        assert_same_light(stacker.expose(burst).light, stacker.expose(burst, hold="still").light)
    write_tiffs(tmp_path / "tiny", [np.full((9, 7, 3), 90, np.uint8)] * 3)
    assert told(stacker.expose(stacker.open_burst(tmp_path / "tiny"))) == []


def test_a_frame_that_cannot_be_read_is_dealt_with_as_ever(tmp_path):
    folder = write(tmp_path / "burst", "tripod")
    bad = folder / "KP_0003.tif"
    bad.write_bytes(bad.read_bytes()[:1000])
    burst = stacker.open_burst(folder)
    shot = stacker.expose(burst, on_bad="skip")
    assert_same_light(shot.light, stacker.expose(burst, hold="still", on_bad="skip").light)
    for hold in ({}, {"hold": "still"}):
        with pytest.raises(stacker.FrameError, match=r"KP_0003\.tif"):
            stacker.expose(burst, **hold)


def test_too_little_memory_is_told_before_anything_is_read(tmp_path, monkeypatch):
    burst = stacker.open_burst(write(tmp_path / "burst", "day"))

    def never(*_, **__):
        raise AssertionError("a frame was read")

    with monkeypatch.context() as patch:
        patch.setattr(Burst, "decode", never)
        with pytest.raises(OptionError, match="at least"):
            stacker.expose(burst, hold="scene", memory=150 * 10**6)
    shot = stacker.expose(burst, memory=150 * 10**6)
    assert any("want of memory" in warning for warning in shot.report["warnings"])
    assert_same_light(shot.light, stacker.expose(burst, hold="still").light)


def test_a_turn_that_leaves_a_sliver_is_not_held(tmp_path):
    world = np.random.default_rng(8).uniform(0.05, 0.8, (40, 90, 1)).repeat(8, 0).repeat(8, 1)
    lights = [world[:, left : left + WIDTH] for left in (0, 150, 40, 230)]
    write_tiffs(tmp_path / "burst", codes_of(lights))
    shot = stacker.expose(stacker.open_burst(tmp_path / "burst"))
    assert shot.size == SIZE
    assert any("of the picture is in all frames" in words for words in told(shot))


def test_who_insists_is_told_what_cannot_be(tmp_path):
    write_tiffs(tmp_path / "burst", codes_of(unlike_each_other()))
    with pytest.raises(BurstError):
        stacker.expose(stacker.open_burst(tmp_path / "burst"), hold="scene")


def test_two_frames_that_differ_are_both_used(tmp_path):
    # nobody can say which of the two is the odd one
    write_jpegs(tmp_path / "burst", 2, size=(320, 192))
    report = stacker.expose(stacker.open_burst(tmp_path / "burst")).report
    assert [frame["used"] for frame in report["frames"]] == [True, True]
    assert any(sentence.startswith("only 1 of 2 frames") for sentence in report["warnings"])
