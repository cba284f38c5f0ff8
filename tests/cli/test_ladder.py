"""``stacker ladder`` as a person types it."""

import json

import numpy as np
import pytest
from PIL import Image

from stacker.light.srgb import linear_to_srgb
from tests.bursts import write_jpegs, write_tiffs
from tests.cli.test_expose import assert_refused, run
from tests.register.scene.frames import burst_of


@pytest.fixture
def burst(tmp_path):
    write_jpegs(tmp_path / "burst", 6)
    return tmp_path / "burst"


def test_a_sheet_with_files_and_a_report(burst, tmp_path):
    sheet = tmp_path / "ladder.jpg"
    files = ("--files", tmp_path / "water.png", "--report", tmp_path / "ladder.json")
    result = run("ladder", burst, "-o", sheet, *files)
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    assert "1/2: 1 frame, " in result.stdout
    assert "3 s: 6 frames, " in result.stdout
    assert " suits: " in result.stdout
    with Image.open(sheet) as opened:
        assert opened.size[0] > 800
    report = json.loads((tmp_path / "ladder.json").read_text())
    assert report["format"] == 1
    assert [rung["frames"] for rung in report["rungs"]] == [1, 2, 4, 6]
    assert report["proposed"]["label"] in ("1/2", "1 s", "2 s", "3 s")
    assert (tmp_path / "water-4-2s.png").exists()


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (["--last", 1], ["one frame makes no ladder"]),
        (["--shutters", "1,40"], ["--shutters 40", "3 s in all"]),
        (["--shutters", "1,x"], ["x is no time"]),
        (["--blend", "mean,max"], ["--blend mean,max"]),
        (["--blend", "silk"], ["--blend silk"]),
        (["--blend", "median", "--bridge"], ["--bridge", "median"]),
        (["--files", "water.xyz"], ["water.xyz", ".tif"]),
    ],
)
def test_what_cannot_be_is_one_sentence(burst, tmp_path, words, parts):
    result = run("ladder", burst, "-o", tmp_path / "ladder.jpg", *words)
    assert_refused(result, *parts)
    assert not (tmp_path / "ladder.jpg").exists()


def test_nothing_is_replaced_unasked(burst, tmp_path):
    taken = tmp_path / "water-4-2s.tif"
    taken.write_text("precious")
    files = ("--files", tmp_path / "water.tif")
    assert_refused(run("ladder", burst, "-o", tmp_path / "a.jpg", *files), "water-4-2s.tif")
    assert taken.read_text() == "precious"
    assert_refused(run("ladder", burst, "-o", tmp_path / "sheet.gif"), "sheet.gif")


@pytest.mark.parametrize("command", ["expose", "ladder", "film"])
def test_every_command_holds_a_burst_shot_by_hand_unasked(command, tmp_path):
    shaken = burst_of("day")
    frames = [np.rint(linear_to_srgb(light) * 255).astype(np.uint8) for light in shaken.frames]
    write_tiffs(tmp_path / "burst", frames)
    target = tmp_path / ("film.mp4" if command == "film" else "out.png")
    words = (tmp_path / "burst", "-o", target, "--report", tmp_path / "report.json")
    result = run(command, *words, "--frame-shutter", "0.5", "--interval", "0.6")
    assert result.returncode == 0, result.stderr
    assert '"motion_model": "homography"' in (tmp_path / "report.json").read_text()
