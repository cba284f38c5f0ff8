"""What was chosen is kept, and is what the command takes."""

import json
import shlex
import shutil

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stacker.burst import open_burst as open_frames
from stacker.cli.app import run
from stacker.cli.words import frame_numbers
from stacker.page.command import spans
from tests.page.conftest import finished, open_burst

SETTINGS = {"blends": ["lighten"], "first": 2, "without": [4, 5, 8], "exposure": -0.5}


def save(client, key, revision, settings=SETTINGS, **more):
    body = {"revision": revision, "settings": settings, "versions": [], "selected": None, **more}
    return client.put(f"/api/burst/{key}/session", json=body)


def test_it_comes_back_whole(client, opened, served):
    versions = [{"name": "späte Brücke", "settings": {"blends": ["median"]}}]
    assert save(client, opened, 0, versions=versions, selected=0).json() == {"revision": 1}
    told = client.get(f"/api/burst/{opened}/session").json()
    expected = {"revision": 1, "settings": SETTINGS, "versions": versions, "selected": 0}
    assert told == expected
    # and with the burst when it is opened again
    again = client.post("/api/burst", json={"id": "harbour"}).json()
    assert {name: again[name] for name in expected} == expected
    assert again["key"] == opened
    text = (served.output / "harbour.stacker.json").read_text()
    assert "späte Brücke" in text
    assert text.count("\n") > 10


def test_a_second_window_loses_nothing(client, opened, served):
    assert save(client, opened, 0).status_code == 200
    other = save(client, opened, 0, settings={"blends": ["mean"]})
    assert (other.status_code, other.json()["code"]) == (409, "stale-session")
    assert other.json()["session"]["settings"] == SETTINGS
    assert save(client, opened, 1, settings={"blends": ["mean"]}).json() == {"revision": 2}


def test_two_bursts_of_one_name_have_their_own(client, opened, served, frames):
    shutil.copytree(frames, served.root / "night" / "harbour")
    other = open_burst(client, "night/harbour")
    save(client, opened, 0)
    assert save(client, other, 0, settings={"first": 3}).json() == {"revision": 1}
    told = [client.get(f"/api/burst/{key}/session").json() for key in (opened, other)]
    assert [each["settings"] for each in told] == [SETTINGS, {"first": 3}]
    assert len(list(served.output.iterdir())) == 2


@pytest.mark.parametrize(
    "more",
    [
        {"settings": {"nonsense": 1}},
        {"settings": {"darks": ["/etc"]}},
        {"versions": [{"settings": {}}]},
        {"versions": [{"name": "x", "settings": {"first": "one"}}]},
        {"versions": "x"},
        {"selected": {}},
    ],
)
def test_what_makes_no_sense_is_not_saved(client, opened, served, more):
    assert save(client, opened, 0, **more).status_code in (400, 404)
    assert not any(served.output.iterdir())


def test_a_file_that_is_no_session_is_told_and_replaced_only_by_saving(client, opened, served):
    path = served.output / "harbour.stacker.json"
    path.write_text("{")
    told = client.get(f"/api/burst/{opened}/session").json()
    assert told["revision"] == 0
    assert "harbour.stacker.json" in told["note"]
    assert path.read_text() == "{"
    assert save(client, opened, 0).status_code == 200


def test_the_command_takes_it_and_what_is_typed_wins(client, opened, served, tmp_path):
    save(client, opened, 0)
    saved, target = served.output / "harbour.stacker.json", tmp_path / "x.tif"
    report = tmp_path / "x.json"
    words = ["expose", str(served.root / "harbour"), "--settings", str(saved), "-o", str(target)]
    assert run([*words, "--last", "7", "--blend", "darken", "--report", str(report)]) == 0
    told = json.loads(report.read_text())
    assert told["settings"]["blend"] == "darken"
    assert told["settings"]["exposure_ev"] == -0.5
    assert [frame["number"] for frame in told["frames"] if frame["used"]] == [2, 3, 6, 7]


@pytest.mark.parametrize(
    ("text", "word"),
    [("{", "no file of settings"), ("[]", "no table"), ('{"settings": {"frist": 1}}', "frist"),
     ('{"first": 90}', "--first 90")],
)  # fmt: skip
def test_a_wrong_file_is_one_sentence(served, tmp_path, capsys, text, word):
    path = tmp_path / "wrong.json"
    path.write_text(text)
    words = ["expose", str(served.root / "harbour"), "--settings", str(path), "-o"]
    assert run([*words, str(tmp_path / "x.tif")]) == 2
    said = capsys.readouterr().err
    assert word in said
    assert said.count("\n") == 1


@pytest.mark.parametrize(
    "settings",
    [
        {},
        SETTINGS,
        {"subject": "traffic", "bridge": False, "floor": "plain"},
        {"blends": ["mean"], "shutter_s": 1 / 3 + 1, "warmth": -12.5, "shoulder": True},
        {"blends": ["trimmed"], "trim": [2.0, 1.5], "weights": [1, 0.5, 1, 1, 1, 1, 0, 1, 1]},
        {"blends": ["lighten"], "tail_s": 4, "tail_to": "both", "interval_s": 1.5},
        {"gains": [1.2, 1.0, 0.7], "ramp_in_s": 2.5, "hold": "still", "space": "display-p3"},
    ],
    ids=str,
)
def test_the_command_that_is_shown_makes_what_is_rendered(client, opened, served, settings):
    body = {"settings": settings, "output": "one.tif"}
    told = finished(client, client.post(f"/api/burst/{opened}/render", json=body).json()["job"])
    assert told["state"] == "done", told
    body["output"] = "the other's.tif"
    command = client.post(f"/api/burst/{opened}/command", json=body).json()["command"]
    words = shlex.split(command)
    assert words[0] == "stacker"
    assert run(words[1:]) == 0
    one, two = (
        next(open_frames([served.output / name]).decode([0]))[1]
        for name in ("one.tif", "the other's.tif")
    )
    np.testing.assert_array_equal(one, two)


def test_passes_and_planes_are_said_in_the_command(client, opened):
    settings = {"blends": ["lighten"], "passes": ["2=off", "3=0.5,warm"], "planes": "out"}
    body = {"settings": settings, "output": "x.tif"}
    command = client.post(f"/api/burst/{opened}/command", json=body).json()["command"]
    assert "--pass 2=off --pass 3=0.5,warm --no-planes" in command
    settings["passes"] = ["2 is off"]
    answer = client.post(f"/api/burst/{opened}/command", json=body)
    assert answer.status_code == 400 and "names no pass" in answer.json()["error"]


def test_a_command_of_nonsense_is_a_sentence(client, opened):
    body = {"settings": {"blends": ["mean"], "bridge": True, "hold": "subject"}, "output": "x.tif"}
    answer = client.post(f"/api/burst/{opened}/command", json=body)
    assert answer.status_code == 400
    assert "--box" in answer.json()["error"]


@given(st.sets(st.integers(1, 60), min_size=1))
def test_spans_say_the_same_frames(numbers):
    assert set(frame_numbers("--without", spans(tuple(numbers)))) == numbers
