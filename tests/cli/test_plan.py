"""``stacker plan`` as a person types it."""

import json
import re
import shlex
import subprocess
from pathlib import Path

import pytest

from stacker.cli import quantities
from stacker.cli.app import run as run_words
from stacker.cli.words import seconds
from stacker.plan import SUBJECTS, make_plan
from tests.cli.test_expose import assert_refused
from tests.cli.test_expose import run as run_process

EVENING = ("--latitude", "54.5N", "--longitude", "3.6W", "--date", "2026-10-20", "--zone",
           "Europe/London")  # fmt: skip
LINES, COLUMNS = 40, 100


@pytest.fixture
def run(capsys, monkeypatch):
    """Return a function that runs words in this process: a tenth of the time of another one."""

    def call(*words: object, cwd=None) -> subprocess.CompletedProcess[str]:
        if cwd is not None:
            monkeypatch.chdir(cwd)
        code = run_words([str(word) for word in words])
        said = capsys.readouterr()
        return subprocess.CompletedProcess(words, code, said.out, said.err)

    return call


def test_without_a_subject_they_are_listed():
    result = run_process("plan")
    assert result.returncode == 0, result.stderr
    names = [line.split()[0] for line in result.stdout.splitlines()[2:]]
    assert names == list(SUBJECTS)


@pytest.mark.parametrize("subject", SUBJECTS)
def test_each_subject_fits_on_one_screen(run, subject):
    result = run("plan", "--for", subject, *EVENING, "--cold", "--card", "64GB")
    assert result.returncode == 0 and result.stderr == "", result.stderr
    lines = result.stdout.splitlines()
    assert len(lines) <= LINES
    assert max(map(len, lines)) <= COLUMNS
    labels = [line.split("  ")[0] for line in lines[2:] if not line.startswith(" ")]
    for label in ("Shoot", "Gives", "Card", "You see", "Evening", "Camera", "Careful", "Then"):
        assert label in labels
    assert "by the clock of Europe/London: sunset 18:05" in result.stdout


def test_even_a_plan_with_much_to_say_fits(run):
    result = run("plan", "--for", "water", *EVENING, "--ev", "15", "--shutter", "30", "--tide",
                 "1.5", "--card", "1GB", "--cold")  # fmt: skip
    assert len(result.stdout.splitlines()) <= LINES
    assert "The tide rises by" in result.stdout


def test_quantities_as_people_write_them(run):
    result = run(
        "plan", "--for", "traffic", "--focal-length", "50mm", "--aperture", "f/8", "--sensor",
        "aps-c 1.6", "--pixels", "24MP", "--frame-shutter", "2s", "--shutter", "1m", "--gap",
        "0.5", "--distance", "60m", "--speed", "30mph", "--frame-size", "25MB", "--format", "json",
    )  # fmt: skip
    plan = json.loads(result.stdout)
    assert (plan["frames"], plan["frame_shutter_s"], plan["interval_s"]) == (30, 2, 2.5)
    assert plan["focal_mm"] == 50 and plan["aperture"] == 8
    assert plan["sensor"]["name"] == "APS-C 1.6" and plan["sensor"]["pixels"] == [5993, 4004]
    assert plan["storage"]["card_bytes"] == 750e6
    options = [each["option"] for each in plan["assumed"]]
    assert options == ["--ev", "--iso", "--read-noise", "--battery"]


@pytest.mark.parametrize(
    ("text", "value"),
    [("1/60", 1 / 60), ("0.5", 0.5), ("2s", 2), ("4m", 240), ("4 min", 240), ("1h30m", 5400),
     ("1h 30min 5s", 5405), ("250ms", 0.25), ("1/4 s", 0.25), ("30.", 30), ("-1", -1)],
)  # fmt: skip
def test_times(text, value):
    assert seconds(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["", "s", "1h30", "30m1h", "2s2s", "1/0", "5x", "nan", "1 2"])
def test_what_is_no_time(text):
    with pytest.raises(Exception, match="is no time"):
        seconds(text)


@pytest.mark.parametrize(
    ("read", "text", "value"),
    [
        (quantities.aperture, "f/2.8", 2.8), (quantities.aperture, "F2.8", 2.8),
        (quantities.aperture, "2.8", 2.8), (quantities.focal_length, "24 mm", 24),
        (quantities.metres, "1.5km", 1500), (quantities.metres, "30cm", 0.3),
        (quantities.road_speed, "36", 10), (quantities.road_speed, "12m/s", 12),
        (quantities.flow_speed, "3kn", 1.5433), (quantities.size, "64GB", 64e9),
        (quantities.share, "20%", 0.2), (quantities.latitude, "33.9S", -33.9),
        (quantities.longitude, "3.6w", -3.6), (quantities.direction, "south", 180),
        (quantities.direction, "NNW", 337.5), (quantities.direction, "120", 120),
    ],
)  # fmt: skip
def test_quantities(read, text, value):
    assert read(text) == pytest.approx(value, rel=1e-4)


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (("--for", "watr"), ("--for watr", "did you mean water")),
        (("--focal-length", "0"), ("--focal-length 0",)),
        (("--frame-shutter", "-1"), ("--frame-shutter -1",)),
        (("--elapsed", "-5m"), ("--elapsed -300",)),
        (("--latitude", "100"), ("--latitude 100", "-90 to 90")),
        ((*EVENING[:4], "--zone", "Nowhere"), ("--zone Nowhere", "Europe/London")),
        ((*EVENING[:4], "--date", "2026-02-30"), ("--date 2026-02-30", "is no date")),
        (("--date", "today"), ("--date", "--latitude and --longitude")),
        (("--shutter", "5x"), ("--shutter", "no time")),
        (("--aperture", "wide"), ("--aperture", "no aperture")),
        (("--speed", "fast"), ("--speed", "no speed")),
        (("--pixels", "many"), ("--pixels many",)),
        (("--sensor", "huge"), ("--sensor huge", "full frame")),
        (("--ev", "nan"), ("--ev nan",)),
        (("--format", "pdf"), ("--format pdf", "markdown")),
        (("--sample", "nowhere.jpg"), ("--sample nowhere.jpg",)),
        (("--sample", "x", "--frame-size", "3MB"), ("--frame-size and --sample",)),
        (("-o", "nowhere/plan.txt"), ("nowhere/plan.txt", "folder")),
        (("--frames",), ("--frames",)),
    ],
)
def test_nonsense_is_one_sentence(run, tmp_path, words, parts):
    subject = () if "--for" in words else ("--for", "water")
    assert_refused(run("plan", *subject, *words, cwd=tmp_path), *parts)
    assert list(tmp_path.iterdir()) == []


def test_a_plan_goes_to_a_file_and_over_none(run, tmp_path):
    words = ("plan", "--for", "stars", *EVENING, "--format", "markdown", "-o", "list.md")
    result = run(*words, cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert result.stdout == "list.md: the plan, as markdown\n"
    text = (tmp_path / "list.md").read_text()
    assert text.startswith("# Stars as points\n") and "- [ ] Focus by hand" in text
    assert "    stacker expose frames/ --for stars" in text
    assert_refused(run(*words, cwd=tmp_path), "list.md", "--overwrite")
    assert run(*words, "--overwrite", cwd=tmp_path).returncode == 0
    assert [path.name for path in tmp_path.iterdir()] == ["list.md"]


def test_a_sample_says_how_large_a_frame_is_and_is_never_written_over(run, tmp_path):
    sample = tmp_path / "KP_0001.jpg"
    sample.write_bytes(bytes(2_000_000))
    words = ("plan", "--for", "crowd", "--sample", sample)
    assert "60 MB at 2 MB a frame" in run(*words).stdout
    assert_refused(run(*words, "-o", sample, "--overwrite"), "never written over")
    assert sample.stat().st_size == 2_000_000


def test_the_readme_shows_what_is_printed(run):
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    section = readme[readme.index("## Before the shot") : readme.index("## Five minutes")]
    command, printed = re.findall(r"```\n(.*?)```", section, re.DOTALL)
    result = run(*shlex.split(command)[1:])
    assert result.returncode == 0 and printed in result.stdout
    python = re.search(r"`stacker\.(plan\(.*?\))`", section)
    assert python is not None and python[1] == 'plan("water", focal_mm=24)'


def test_the_command_it_ends_with_is_one():
    """The words after Then are options that ``stacker expose`` knows."""
    known = run_process("expose", "--help").stdout
    for subject in SUBJECTS:
        words = make_plan(subject).command.split()
        assert words[:2] == ["stacker", "expose"]
        assert all(word in known for word in words if word.startswith("--"))
