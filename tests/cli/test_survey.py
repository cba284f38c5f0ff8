"""``stacker survey`` as a person types it."""

import json

import pytest

from stacker.cli.app import run
from tests.bursts import write_jpegs

KEYS = {
    "format", "program", "size", "frames", "rhythm", "stand", "reference", "motion_model", "light",
    "noise", "movement", "subject", "findings", "command",
}  # fmt: skip
FRAME_KEYS = {
    "number", "name", "start_s", "shutter_s", "gap_s", "light_stops", "clipped", "black",
    "sharpness", "x_px", "y_px", "shake_px", "turn_deg", "verdict", "why",
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("survey") / "burst"
    write_jpegs(folder, 30, size=(160, 120), interval_s=1.0)
    # all frames alike, or they could not be held to one view
    first = (folder / "KP_0001.jpg").read_bytes()
    for path in folder.iterdir():
        own = path.read_bytes()
        stamp = own[: own.index(b"\xff\xdb")]
        path.write_bytes(stamp + first[first.index(b"\xff\xdb") :])
    return folder


def test_json_has_the_keys_of_format_1(folder, capsys):
    assert run(["survey", str(folder), "--json", "--last", "6"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["format"] == 1
    assert found.keys() >= KEYS
    assert found["frames"][0].keys() >= FRAME_KEYS
    assert len(found["frames"]) == 6
    assert f"{folder} --last 6" in found["command"]


def test_a_long_burst_is_folded_unless_told(folder, capsys):
    assert run(["survey", str(folder)]) == 0
    short = capsys.readouterr().out
    assert "24 frames more" in short
    assert "KP_0030.jpg" in short
    assert "KP_0015.jpg" not in short
    assert max(map(len, short.splitlines()[:-1])) <= 100
    assert short.splitlines()[-1].strip().startswith("stacker expose")
    assert run(["survey", str(folder), "--all"]) == 0
    assert "KP_0015.jpg" in capsys.readouterr().out


def test_the_plot_is_written_and_never_over_another_file(folder, tmp_path, capsys):
    target = tmp_path / "way.svg"
    words = ["survey", str(folder), "--last", "6", "--path", str(target)]
    assert run(words) == 0
    drawn = target.read_bytes()
    assert b"<svg" in drawn
    assert run(words) == 2
    assert "exists already" in capsys.readouterr().err
    assert run([*words, "--overwrite"]) == 0
    assert target.read_bytes() == drawn
    assert run(["survey", str(folder), "--path", str(tmp_path / "way.jpg")]) == 2
    assert run(["survey", str(folder), "--overwrite", "--path", str(folder / "KP_0001.jpg")]) == 2


def test_wrong_input_is_one_sentence(tmp_path, capsys):
    assert run(["survey", str(tmp_path / "nothing")]) == 2
    told = capsys.readouterr()
    assert told.err.startswith("stacker: ")
    assert told.out == ""
