"""``--for``: the list, what is unknown, and that words that were typed win."""

import json

import pytest
import tifffile

from stacker.cli.subject import with_list_asked
from stacker.engine.subjects import PRESETS
from tests.benchmarks.painted_night import PaintedNight
from tests.bursts import write_jpegs
from tests.cli.test_expose import assert_refused, run


def test_the_list_wants_neither_burst_nor_output():
    result = run("expose", "--for", "list")
    assert result.returncode == 0 and result.stderr == ""
    lines = result.stdout.splitlines()
    assert [line.split()[0] for line in lines] == list(PRESETS)
    assert lines[0] == "water           Silky water: mean, gaps bridged"


def test_an_unknown_subject_is_refused_with_the_list(tmp_path):
    result = run("expose", tmp_path, "--for", "trafic", "-o", tmp_path / "out.tif")
    assert_refused(result, "--for trafic", "did you mean traffic?", *PRESETS)


def test_words_that_were_typed_win_even_where_they_say_the_usual(tmp_path):
    write_jpegs(tmp_path / "burst", 4)
    words = ("expose", "burst", "--for", "star-trails", "-o", "out.tif", "--report", "report.json")
    result = run(*words, "--floor", "plain", "--no-bridge", "--overwrite", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["subject"]["explicit"] == ["floor", "bridge"]
    assert report["subject"]["chose"] == {
        "blend": "lighten",
        "hold": "still",
        "even": "auto",
        "regions": ["ground=blend mean, no-bridge"],
        "planes": "out",
    }
    settings = report["settings"]
    assert (settings["floor"], settings["bridge"], settings["blend"]) == ("plain", False, "lighten")
    assert "out.tif: lighten of 4 frames" in result.stdout
    assert run(*words, "--overwrite", cwd=tmp_path).returncode == 0
    report = json.loads((tmp_path / "report.json").read_text())
    assert report["subject"]["explicit"] == [] and report["settings"]["floor"] == "true"


def test_bursts_to_keep_are_a_number_or_auto(tmp_path):
    write_jpegs(tmp_path / "burst", 2)
    words = ("expose", tmp_path / "burst", "-o", tmp_path / "out.tif", "--keep-bursts")
    assert_refused(run(*words, "few"), "--keep-bursts few", "auto")
    assert run(*words, "2").returncode == 0


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        (["expose", "--for"], ["expose", "--for", "list"]),
        (["expose", "--for", "-o", "x.tif"], ["expose", "--for", "list", "-o", "x.tif"]),
        (["plan", "--for", "water"], ["plan", "--for", "water"]),
        (["expose", "--", "--for"], ["expose", "--", "--for"]),
    ],
)  # fmt: skip
def test_for_without_a_name_asks_for_the_list(typed, read):
    assert with_list_asked(typed) == read


@pytest.mark.parametrize("command", ["expose", "plan"])
def test_for_without_a_name_lists_every_subject_with_a_line_each(command):
    result = run(command, "--for")
    assert result.returncode == 0
    lines = result.stdout.splitlines()
    for name in PRESETS:
        assert sum(line.split()[:1] == [name] for line in lines) == 1


def test_passes_of_a_lamp_are_listed_changed_and_written_as_pages(tmp_path):
    PaintedNight(size=(180, 120)).write(tmp_path / "burst")
    words = ("expose", "burst", "--for", "light-painting", "--no-bridge")
    result = run(*words, "--pass", "list", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert result.stdout.startswith("pass 1: KP_0003.jpg to KP_0006.jpg, 4 frames, brightest in ")
    assert len(result.stdout.splitlines()) == 3
    result = run(*words, "-o", "out.tif", "--pass", "2=off", "--pass-pages", "p.tif", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert "2 in frames 9 to 11 (off)" in result.stderr
    with tifffile.TiffFile(tmp_path / "p.tif") as file:
        assert len(file.pages) == 3
    result = run(*words, "--pass", "2=off", cwd=tmp_path)
    assert result.returncode == 2 and "give one such as -o picture.tif" in result.stderr
    result = run(*words, "-o", "o.tif", "--pass-pages", "p.png", cwd=tmp_path)
    assert result.returncode == 2 and "only a TIFF has pages" in result.stderr
