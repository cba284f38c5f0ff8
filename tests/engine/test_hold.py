"""Bursts shot by hand become one picture, from files to light; tripod bursts stay untouched."""

import dataclasses
import tempfile
from pathlib import Path

import cv2
import numpy as np
import pytest

import stacker
from stacker.errors import BurstError, FrameError, OptionError, OutputError
from stacker.light.srgb import linear_to_srgb, srgb_to_linear
from stacker.register.geometry import rms_difference
from tests.bursts import write_tiffs
from tests.register.scene.frames import ODD, SIZE, burst_of
from tests.same_light import assert_same_light


def write(folder, burst, numbers=None):
    """Write a simulated burst's frames as 8-bit files and return its folder."""
    numbers = range(len(burst.frames)) if numbers is None else numbers
    codes = [np.rint(linear_to_srgb(burst.frames[n]) * 255).astype(np.uint8) for n in numbers]
    write_tiffs(folder, codes)
    return folder


def held(folder, **settings):
    choices = {"hold": "scene", "reference": "1", **settings}
    return stacker.expose(stacker.open_burst(folder), **choices)


def inside(shot):
    """Return rows and columns of the reference that the picture is."""
    region = shot.report["region"]
    rows = slice(region["y"], region["y"] + region["height"])
    return rows, slice(region["x"], region["x"] + region["width"])


def test_a_handheld_burst_becomes_as_sharp_as_its_frames(tmp_path):
    burst = burst_of("day")
    folder = write(tmp_path / "burst", burst)
    shot = held(folder)
    report = shot.report
    assert report["hold"] == "scene" and report["motion_model"] == "homography"
    assert report["reference"] == "KP_0001.tif" and report["frames_used"] == len(burst.frames)
    xs, ys = np.meshgrid(np.arange(0, SIZE[0], 16), np.arange(0, SIZE[1], 16))
    points = np.stack([xs.ravel(), ys.ravel()], axis=1)
    for frame, truth in zip(report["frames"], burst.to_reference, strict=True):
        # as in tests/register/scene: small pictures of 8 bits, by day
        assert rms_difference(np.array(frame["to_reference"]), truth, points) < 0.03
    rows, columns = inside(shot)
    assert shot.size == (columns.stop - columns.start, rows.stop - rows.start)
    assert shot.light.shape == (shot.size[1], shot.size[0], 3)
    reference = burst.frames[0][rows, columns]
    smeared = held(folder, hold="still").light[rows, columns]
    # noise and coding aside the mean is the reference; as it lies it is another picture
    assert np.abs(shot.light - reference).mean() < 0.2 * np.abs(smeared - reference).mean()
    contrast = np.std(np.diff(shot.light[..., 1], axis=1)) / np.std(np.diff(reference[..., 1]))
    assert 0.93 < contrast < 1.05


def test_a_tripod_burst_is_what_it_is_without_registration(tmp_path):
    folder = write(tmp_path / "burst", burst_of("tripod"))
    for blend in ("mean", "lighten", "median"):
        shot, plain = (held(folder, hold=hold, blend=blend) for hold in ("scene", "still"))
        assert shot.report["motion_model"] == "still"
        assert_same_light(shot.light, plain.light)


@pytest.mark.parametrize("blend", ["mean", "lighten", "median", "max", "trimmed"])
@pytest.mark.parametrize("crop", ["common", "full"])
def test_workers_and_bands_do_not_show(tmp_path, blend, crop, monkeypatch):
    from stacker.engine import expose, memory

    folder = write(tmp_path / "burst", burst_of("day"))
    alone = held(folder, blend=blend, crop=crop, workers=1)
    several = held(folder, blend=blend, crop=crop, workers=4)
    np.testing.assert_array_equal(several.light, alone.light)

    def in_bands(blends, intake, rows, width, **options):
        plan = memory.plan_passes(blends, intake, rows, width, **options)
        bands = (range(rows.start, 128), range(128, rows.stop))
        return memory.PassPlan(bands, plan.workers, plan.peak_bytes)

    monkeypatch.setattr(expose, "plan_passes", in_bands)
    np.testing.assert_array_equal(held(folder, blend=blend, crop=crop).light, alone.light)


@pytest.mark.parametrize(("blend", "times"), [("mean", 1), ("sum", 5)])
def test_borders_do_not_darken_where_fewer_frames_reach(tmp_path, blend, times):
    """With all of the reference kept, light is divided by the frames that were there."""
    burst = burst_of("day")
    shot = held(write(tmp_path / "burst", burst), crop="full", blend=blend)
    assert shot.size == SIZE
    for edge in (np.s_[:, :4], np.s_[:, -4:], np.s_[:4], np.s_[-4:]):
        light = shot.light[edge].mean() / times
        assert light == pytest.approx(burst.frames[0][edge].mean(), rel=0.03)


def test_frames_that_do_not_belong_are_left_out_with_their_reason(tmp_path):
    burst = burst_of("odd")
    shot = held(write(tmp_path / "burst", burst))
    left = {n: frame["why"] for n, frame in enumerate(shot.report["frames"]) if frame["why"]}
    assert set(left) == set(ODD)
    good = [n for n in range(len(burst.frames)) if n not in ODD]
    assert shot.report["frames_used"] == len(good)
    warned = " ".join(shot.report["warnings"])
    assert all(why in warned for why in left.values())
    # and leave no trace, but that the next frame's motion was looked for from another guess
    alone = held(write(tmp_path / "good", burst, good))
    np.testing.assert_allclose(shot.light, alone.light, atol=1e-4)


def test_a_frame_that_cannot_be_read_stops_or_is_skipped(tmp_path):
    folder = write(tmp_path / "burst", burst_of("day"))
    third = folder / "KP_0003.tif"
    whole = third.read_bytes()
    third.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(FrameError, match=r"KP_0003\.tif"):
        held(folder)
    shot = held(folder, on_bad="skip")
    assert shot.report["frames_used"] == 4
    assert shot.report["frames"][2]["why"] and not shot.report["frames"][2]["used"]
    third.write_bytes(whole)
    np.testing.assert_allclose(shot.light, held(folder, without=(3,)).light, atol=1e-4)


def test_clips_are_held_as_stills_are(tmp_path):
    """A file of several frames is looked at once, from its beginning to its end."""
    import tifffile

    burst = burst_of("day")
    folder = write(tmp_path / "burst", burst)
    pages = np.stack([tifffile.imread(path) for path in sorted(folder.iterdir())])
    tifffile.imwrite(tmp_path / "pages.tif", pages, photometric="rgb")
    stills, several = held(folder).report, held(tmp_path / "pages.tif").report
    for one, other in zip(stills["frames"], several["frames"], strict=True):
        # its copies wait in half precision, one channel for all
        np.testing.assert_allclose(one["to_reference"], other["to_reference"], atol=0.02)


def test_the_reference_can_be_named(tmp_path):
    folder = write(tmp_path / "burst", burst_of("day"))
    by_name = held(folder, reference="KP_0004.tif")
    assert by_name.report["reference"] == "KP_0004.tif"
    np.testing.assert_array_equal(held(folder, reference="4").light, by_name.light)
    assert np.array_equal(by_name.report["frames"][3]["to_reference"], np.eye(3))
    with pytest.raises(OptionError, match="none of the frames"):
        held(folder, reference="KP_0009.tif")


def test_nothing_to_hold_on_to_is_one_sentence(tmp_path):
    rng = np.random.default_rng(1)
    sky = [rng.normal(120, 1, (600, 900, 3)).clip(0, 255).astype(np.uint8) for _ in range(4)]
    write_tiffs(tmp_path / "sky", sky)
    with pytest.raises(BurstError, match="nothing in it to hold on to") as caught:
        held(tmp_path / "sky")
    assert "--hold still" in caught.value.remedy


def test_a_subject_is_held_while_the_world_smears(tmp_path):
    rng = np.random.default_rng(5)
    world = rng.uniform(0.1, 0.5, (30, 60, 3)).repeat(8, 0).repeat(8, 1)
    subject = rng.uniform(0.0, 0.9, (12, 16, 3)).repeat(5, 0).repeat(5, 1)
    frames = []
    for number in range(7):
        light = world[:, 20 * number : 20 * number + 320].copy()
        light[90:150, 100 + 6 * number : 180 + 6 * number] = subject
        frames.append(np.rint(linear_to_srgb(light) * 255).astype(np.uint8))
    write_tiffs(tmp_path / "pan", frames)
    shot = held(tmp_path / "pan", hold="subject", box=(98, 88, 84, 64), reference=None)
    assert shot.report["motion_model"] == "shift" and shot.size == (320, 240)
    for number, frame in enumerate(shot.report["frames"]):
        # whole pixels without noise: the edges of the box decide
        assert frame["to_reference"][0][2] == pytest.approx(-6 * number, abs=0.05)
    sharp = shot.light[95:145, 105:175]
    np.testing.assert_allclose(sharp.mean(), subject[5:55, 5:75].mean(), rtol=0.02)
    first = srgb_to_linear(frames[0] / 255)
    assert np.abs(sharp - first[95:145, 105:175]).mean() < 0.02
    assert shot.light[:60].std() < 0.7 * first[:60].std()


def test_a_box_beyond_the_only_frame_is_refused(tmp_path):
    folder = write(tmp_path / "burst", burst_of("day"), [0])
    with pytest.raises(OptionError, match="beyond the picture"):
        held(folder, hold="subject", box=(900, 900, 50, 50))


def test_stars_are_held_as_points(tmp_path):
    """Trails of the sky become points, and what stood still trails."""
    from stacker.scenes import render_scene

    scene = render_scene("stars", tmp_path / "stars", size=(480, 320))
    shot = held(scene.frame_paths, hold="sky", reference="1")
    assert shot.report["motion_model"] == "homography" and shot.report["frames_used"] == 24
    rows, columns = inside(shot)
    sky = slice(0, 150)
    first = stacker.open_burst(scene.frame_paths).reduced_light(0, 1)[rows, columns][sky]
    smeared = held(scene.frame_paths, hold="still").light[rows, columns][sky]
    # half of the brightest hundredth of the first frame is left where stars are resampled points
    # of one to two pixels; trails keep a tenth
    bright = first > np.quantile(first, 0.99)
    assert shot.light[sky][bright].mean() > 0.5 * first[bright].mean()
    assert smeared[bright].mean() < 0.3 * first[bright].mean()


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"hold": "subject"}, "needs --box"),
        ({"hold": "scene", "box": (0, 0, 9, 9)}, "is for --hold subject"),
        ({"hold": "subject", "box": (0, 0, 9)}, "is no box"),
        ({"hold": "subject", "box": (0, 0, 9, 0)}, "is no box"),
        ({"hold": "scene", "crop": "some"}, "no such choice"),
    ],
)
def test_settings_that_make_no_sense_are_refused(settings, words):
    with pytest.raises(OptionError, match=words):
        stacker.Settings(**settings)


def test_a_small_picture_or_a_black_reference_has_nothing_to_hold_on_to(tmp_path):
    for size in ((1, 1), (12, 16), (3, 200)):
        folder = tmp_path / f"{size[0]}x{size[1]}"
        write_tiffs(folder, [np.full((*size, 3), 90, np.uint8)] * 3)
        with pytest.raises(BurstError, match="nothing in it to hold on to"):
            held(folder)
    folder = write(tmp_path / "burst", burst_of("day"))
    write_tiffs(tmp_path / "black", [np.zeros((*SIZE[::-1], 3), np.uint8)])
    (tmp_path / "black" / "KP_0001.tif").replace(folder / "KP_0001.tif")
    with pytest.raises(BurstError, match="nothing in it to hold on to"):
        held(folder)


def cut_short(path):
    path.write_bytes(path.read_bytes()[:1000])


def test_what_is_skipped_leaves_no_trace_in_holding(tmp_path):
    """The box belongs to the first frame that can be read, and only readable ones have a vote."""
    folder = write(tmp_path / "burst", burst_of("day"))
    choices = (
        {"reference": "4"},
        {"reference": None, "hold": "subject", "box": (150, 150, 90, 90)},
    )
    without = [held(folder, without=(1, 2, 3), **choice) for choice in choices]
    for number in (1, 2, 3):
        cut_short(folder / f"KP_000{number}.tif")
    for choice, good in zip(choices, without, strict=True):
        shot = held(folder, on_bad="skip", **choice)
        np.testing.assert_array_equal(shot.light, good.light)
        assert shot.report["reference"] == "KP_0004.tif"
    with pytest.raises(OptionError, match="none of the frames that can be used"):
        held(folder, on_bad="skip", reference="1")
    cut_short(folder / "KP_0004.tif")
    # one frame is as it lies
    assert held(folder, on_bad="skip", reference=None).report["frames_used"] == 1
    cut_short(folder / "KP_0005.tif")
    with pytest.raises(BurstError, match="no frame of 5 can be used"):
        held(folder, on_bad="skip", reference=None)


def test_a_reference_that_is_not_there_is_refused_for_one_frame_too(tmp_path):
    with pytest.raises(OptionError, match="none of the frames"):
        held(write(tmp_path / "burst", burst_of("day"), [0]), reference="2")


@pytest.mark.parametrize("why", ["black", "cut short"])
def test_light_fades_from_the_last_frame_that_is_used(tmp_path, why):
    burst = burst_of("day")
    folder = write(tmp_path / "burst", burst)
    choices = {"blend": "lighten", "tail_s": 0.5, "on_bad": "skip"}
    good = held(folder, without=(5,), **choices)
    if why == "black":
        write_tiffs(tmp_path / "black", [np.zeros((*SIZE[::-1], 3), np.uint8)])
        (tmp_path / "black" / "KP_0001.tif").replace(folder / "KP_0005.tif")
    else:
        cut_short(folder / "KP_0005.tif")
    np.testing.assert_array_equal(held(folder, **choices).light, good.light)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a disk that is always full")
def test_a_full_disk_for_temporary_files_is_one_sentence(tmp_path, monkeypatch):
    import tifffile

    pages = np.stack([np.rint(f * 255).clip(0, 255) for f in burst_of("day").frames])
    tifffile.imwrite(tmp_path / "pages.tif", pages.astype(np.uint8), photometric="rgb")
    with Path("/dev/full").open("r+b", buffering=0) as full:
        monkeypatch.setattr(tempfile, "TemporaryFile", lambda **_: full)
        with pytest.raises(OutputError, match="TMPDIR"):
            held(tmp_path / "pages.tif")
    monkeypatch.undo()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "nowhere"))
    with pytest.raises(OutputError, match="TMPDIR"):
        held(tmp_path / "pages.tif")


def test_a_slightly_blurred_frame_counts_less_in_a_mean_and_only_there(tmp_path):
    burst = burst_of("day")
    soft = cv2.GaussianBlur(burst.frames[3], (0, 0), 1.0)
    frames = [soft if n == 3 else frame for n, frame in enumerate(burst.frames)]
    folder = write(tmp_path / "burst", dataclasses.replace(burst, frames=frames))
    weights = [frame["weight"] for frame in held(folder).report["frames"]]
    assert 0.2 < weights[3] < 1
    assert [weights[n] for n in (0, 1, 2, 4)] == [1.0] * 4
    summed = held(folder, blend="sum").report["frames"]
    assert [frame["weight"] for frame in summed] == [1.0] * 5
