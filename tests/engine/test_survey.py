"""A burst looked at before it is exposed: what is told, against what was put into it."""

import json
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from PIL import Image

import stacker
from stacker.errors import BurstError, OptionError
from stacker.light.srgb import linear_to_srgb
from stacker.register.geometry import invert
from stacker.scenes.render import BurstPlan
from stacker.survey.shake import place_of
from tests.benchmarks.subjects import shoot
from tests.bursts import START, exif_block, write_tiffs
from tests.register.subject.rides import SIZE, ride_of

ODD = {3: 2.4, 7: 0.002}


def town(shape=(160, 240)):
    """Return a picture with something to hold on to, linear light."""
    rng = np.random.default_rng(3)
    coarse = rng.uniform(0.02, 0.35, (shape[0] // 8, shape[1] // 8, 3))
    return np.kron(coarse, np.ones((8, 8, 1)))


def shoot_town(folder, numbers, *, factors=None, shutters=None, interval_s=2.0, tags=None):
    """Write frames of a still picture as JPEGs with a camera's Exif."""
    folder.mkdir()
    rng = np.random.default_rng(1)
    for place, number in enumerate(numbers):
        light = town() * (factors or {}).get(number, 1.0)
        light = np.clip(light + rng.normal(size=light.shape) * 0.002, 0, 1)
        code = np.rint(linear_to_srgb(light) * 255).astype(np.uint8)
        shutter_s = (shutters or {}).get(number, 0.5)
        start = START + timedelta(seconds=number * interval_s)
        exif = exif_block(start, shutter_s, **(tags or {}).get(number, {}))
        name = folder / f"KP_{number:04d}.jpg"
        Image.fromarray(code).save(name, quality=95, exif=exif)
        assert place >= 0
    return folder


def look(folder, **settings):
    return stacker.survey(stacker.open_burst(folder), workers=2, **settings)


def codes(found):
    return {finding.code: finding for finding in found.findings}


@pytest.fixture(scope="module")
def odd_folder(tmp_path_factory):
    """A burst of a still town: number 6 is missing, 3 flashed, 7 black, the shutter changes."""
    numbers = [n for n in range(1, 13) if n != 6]
    folder = tmp_path_factory.mktemp("odd") / "burst"
    shutters = dict.fromkeys(range(10, 13), 0.25)
    factors = ODD | dict.fromkeys(shutters, 0.5)
    return shoot_town(folder, numbers, factors=factors, shutters=shutters)


@pytest.fixture(scope="module")
def odd(odd_folder):
    return look(odd_folder)


def test_a_missing_number_is_found(odd):
    finding = codes(odd)["frames-missing"]
    assert finding.severity == "problem"
    assert "KP_0006" in finding.what
    assert finding.frames == (5,)


def test_flash_and_black_frame_are_found(odd):
    verdicts = {frame.name: frame.verdict for frame in odd.frames if not frame.good}
    assert verdicts == {"KP_0003.jpg": "flash", "KP_0007.jpg": "black"}
    assert "--without 3,6" in odd.command()


def test_a_changed_exposure_is_found_in_exif_and_in_light(odd):
    found = codes(odd)
    assert "0.5 s to 1/4 s" in found["shutter-changes"].what
    jump = found["light-jumps"]
    assert jump.frames == found["shutter-changes"].frames == (9,)
    assert "darker" in jump.what
    assert odd.frames[-1].light_stops - odd.frames[0].light_stops == pytest.approx(-1, abs=0.05)
    assert "--even level" in odd.command()


def test_findings_come_worst_first_and_in_sentences(odd):
    ranks = ["problem", "caution", "note"]
    order = [ranks.index(finding.severity) for finding in odd.findings]
    assert order == sorted(order)
    for finding in odd.findings:
        assert finding.what.endswith(".")
        assert finding.cause.endswith(".")
        assert finding.remedy == "" or finding.remedy.endswith(".")


def test_what_is_suggested_works(odd, odd_folder, tmp_path):
    words = list(odd.options)
    from stacker.cli.app import run

    assert run(["expose", str(odd_folder), *words, "-o", str(tmp_path / "out.tif")]) == 0


def test_workers_change_nothing(odd, odd_folder):
    alone = stacker.survey(stacker.open_burst(odd_folder), workers=1)
    assert json.dumps(alone.to_json()) == json.dumps(odd.to_json())


def test_a_flash_and_automatic_settings_are_read_from_exif(tmp_path):
    auto = {"x9209": 0, "xA402": 0, "xA403": 0, "x829D": 8.0}
    tags = dict.fromkeys(range(1, 7), auto) | {4: auto | {"x9209": 1}, 6: auto | {"x829D": 11.0}}
    found = codes(look(shoot_town(tmp_path / "b", range(1, 7), tags=tags)))
    assert found["flash-fired"].frames == (4,)
    assert "f/8 to f/11" in found["f-changes"].what
    assert {"auto-exposure", "auto-white"} <= found.keys()


def test_shake_is_found_back(tmp_path):
    size, tremor_px = (480, 320), 3.0
    folder = shoot(tmp_path / "b", "quay", seed=7, size=size, tremor_px=tremor_px, frames=8)
    found = look(folder)
    plan = BurstPlan("quay", 8, size, 7, 1 / 30, 2.0, tremor_px, "jpg")
    to_first = plan.motion()
    back = invert(to_first[found.reference - 1])
    assert found.stand == "handheld"
    for frame, motion in zip(found.frames, to_first, strict=True):
        truth = place_of(back @ motion, size)
        # what a survey promises; registration of such a picture errs by a hundredth
        assert frame.place.x_px == pytest.approx(truth.x_px, abs=0.05)
        assert frame.place.y_px == pytest.approx(truth.y_px, abs=0.05)
        assert frame.place.turn_deg == pytest.approx(truth.turn_deg, abs=0.01)
    assert "--hold scene" in found.command()


def test_noise_of_a_scene_is_that_of_its_camera(tmp_path):
    plan = BurstPlan("quay", 6, (480, 320), 2, 1 / 30, 2.0, 0.0, "tif")
    from stacker.scenes.render import _Studio
    from stacker.scenes.stage import build_scene

    scene = build_scene("quay", plan.view())
    studio = _Studio(plan, scene)
    for number, path in enumerate(plan.frame_paths(tmp_path)):
        studio.frame(number, path)
    noise = look(tmp_path).measured["noise"]
    truth = float(scene.camera.noise_variance(0.18)) ** 0.5
    assert noise["at_mid_grey"] == pytest.approx(truth, rel=0.1)


@pytest.mark.parametrize("scene, subject", [("harbour", "water"), ("quay", "crowd")])
def test_subjects_by_day(tmp_path, scene, subject):
    folder = shoot(tmp_path / "b", scene, seed=1, size=(480, 320), frames=12)
    assert look(folder).measured["subject"]["name"] == subject


def test_a_pan_is_told_and_its_box_lies_on_the_subject(tmp_path):
    ride = ride_of("pan")
    codes_of = [
        np.rint(linear_to_srgb(np.clip(f, 0, 1)) * 255).astype(np.uint8) for f in ride.frames
    ]
    write_tiffs(tmp_path / "b", codes_of)
    found = look(tmp_path / "b")
    assert found.size == SIZE
    assert found.measured["subject"]["name"] == "pan"
    x, y, width, height = (
        float(v) for v in found.options[found.options.index("--box") + 1].split(",")
    )
    # of the subject's own box, which is drawn with some room about it
    bx, by, bw, bh = ride.box
    shared = max(0, min(x + width, bx + bw) - max(x, bx)) * max(
        0, min(y + height, by + bh) - max(y, by)
    )
    assert shared > 0.4 * bw * bh


def test_dusk_is_a_slow_change(tmp_path):
    numbers = range(1, 15)
    factors = {n: 2.0 ** (-(n - 1) / 10) for n in numbers}
    folder = shoot_town(tmp_path / "b", numbers, factors=factors, interval_s=20.0)
    found = look(folder)
    assert found.measured["light"]["drift_stops"] == pytest.approx(-1.3, abs=0.1)
    assert found.measured["subject"]["name"] == "dusk"


def test_frames_that_cannot_be_read_are_told_and_passed_over(tmp_path):
    folder = shoot_town(tmp_path / "b", range(1, 9))
    path = folder / "KP_0004.jpg"
    path.write_bytes(path.read_bytes()[:900])
    found = look(folder)
    assert found.frames[3].verdict == "unreadable"
    assert codes(found)["frame-unreadable"].severity == "problem"
    assert [f.verdict for f in found.frames].count("good") == 7
    assert "--without 4" in found.command()


def test_a_single_frame_and_a_flat_burst_are_no_fault(tmp_path):
    one = look(shoot_town(tmp_path / "one", [1]))
    assert one.stand == "unknown"
    assert one.frames[0].verdict == "good"
    flat = [np.full((64, 96, 3), 90, np.uint8)] * 6
    write_tiffs(tmp_path / "flat", flat)
    found = look(tmp_path / "flat")
    assert found.stand == "unknown"
    assert "not-held" in codes(found)


def test_a_span_is_looked_at_alone(odd_folder):
    found = look(odd_folder, first=8, last=11)
    assert [frame.number for frame in found.frames] == [8, 9, 10, 11]
    with pytest.raises(OptionError):
        look(odd_folder, first=99)


def test_nothing_readable_is_an_error(tmp_path):
    folder = shoot_town(tmp_path / "b", [1, 2])
    burst = stacker.open_burst(folder)
    for path in folder.iterdir():
        path.write_bytes(path.read_bytes()[:900])
    with pytest.raises(BurstError) as error:
        stacker.survey(burst)
    assert error.value.code == "burst-no-frames"
    assert replace(burst).frames


def test_what_is_burnt_out_is_told_for_any_frame_and_for_all(tmp_path):
    plain = np.rint(linear_to_srgb(town((96, 128))) * 255).astype(np.uint8)
    plain[8:24, 8:24] = 255
    frames = [plain.copy() for _ in range(6)]
    frames[2][40:72, 40:72] = 255
    write_tiffs(tmp_path / "b", frames)
    burnt = look(tmp_path / "b").measured["burnt_out"]
    assert burnt["in_every_frame"] == pytest.approx(256 / (96 * 128), abs=1e-5)
    assert burnt["in_any_frame"] == pytest.approx((256 + 1024) / (96 * 128), abs=1e-5)
