"""The command as a person types it: words out, exit codes, files left and not left."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import psutil
import pytest
import tifffile

from tests.bursts import write_jpegs, write_tiffs


def run(*words: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "stacker", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=120)


def assert_refused(result: subprocess.CompletedProcess[str], *parts: str) -> None:
    """One sentence on stderr that names the thing, code 2, no traceback, nothing on stdout."""
    assert result.returncode == 2, result.stderr
    assert result.stdout == ""
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 1, result.stderr
    assert lines[0].startswith("stacker: ")
    assert lines[0].endswith(".")
    for part in parts:
        assert part in lines[0], lines[0]


@pytest.fixture
def burst(tmp_path):
    write_jpegs(tmp_path / "burst", 6)
    return tmp_path / "burst"


@pytest.fixture
def out(tmp_path):
    folder = tmp_path / "results"
    folder.mkdir()
    return folder


def test_a_folder_becomes_a_picture_with_a_report(burst, out):
    result = run("expose", burst, "-o", out / "mean.tif", "--report", out / "mean.json")
    assert result.returncode == 0, result.stderr
    assert "mean of 6 frames" in result.stdout
    assert "open for 3 s in all, over 10.5 s" in result.stdout
    assert result.stderr == ""
    assert tifffile.imread(out / "mean.tif").shape == (32, 48, 3)
    report = json.loads((out / "mean.json").read_text())
    assert report["output"] == str(out / "mean.tif")
    assert report["program"].startswith("stacker ")


@pytest.mark.parametrize("form", ["folder", "files", "glob"])
def test_folder_files_and_glob_give_the_same_bytes(burst, out, form):
    sources = {
        "folder": [burst],
        "files": sorted(burst.glob("*.jpg"), reverse=True),
        "glob": [burst / "KP_*.jpg"],
    }[form]
    assert run("expose", burst, "--blend", "median", "-o", out / "a.png").returncode == 0
    assert run("expose", *sources, "--blend", "median", "-o", out / "b.png").returncode == 0
    assert (out / "a.png").read_bytes() == (out / "b.png").read_bytes()


def test_several_blends_in_one_pass(burst, out):
    result = run(
        "expose", burst, "--blend", "mean,lighten", "--blend", "max", "-o", out / "night.tif",
        "--report", out / "night.json",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    assert {path.name for path in out.glob("*.tif")} == {
        "night-mean.tif", "night-lighten.tif", "night-max.tif",
    }  # fmt: skip
    reports = json.loads((out / "night.json").read_text())
    assert [report["settings"]["blend"] for report in reports] == ["mean", "lighten", "max"]


@pytest.mark.parametrize("suffix", ["tif", "tiff", "png", "jpg", "jpeg"])
def test_every_suffix(burst, out, suffix):
    assert run("expose", burst, "-o", out / f"a.{suffix}").returncode == 0
    assert (out / f"a.{suffix}").stat().st_size > 100


def test_span_ramp_weights_and_clock(burst, out):
    result = run(
        "expose", burst, "--first", 2, "--shutter", 1.0, "--weights", "1,0.5", "--ramp-in", 1,
        "--interval", 3, "--frame-shutter", 0.6, "-o", out / "a.tif", "--report", out / "a.json",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    report = json.loads((out / "a.json").read_text())
    assert [frame["name"] for frame in report["frames"]] == ["KP_0002.jpg", "KP_0003.jpg"]
    assert report["frames"][1]["start_s"] - report["frames"][0]["start_s"] == 3.0
    assert report["frames"][0]["shutter_s"] == 0.6


def test_times_as_fractions_and_frames_left_out(burst, out):
    result = run(
        "expose", burst, "--frame-shutter", "1/4", "--without", "2,4-5", "-o", out / "a.tif",
        "--report", out / "a.json",
    )  # fmt: skip
    assert result.returncode == 0, result.stderr
    report = json.loads((out / "a.json").read_text())
    assert [frame["number"] for frame in report["frames"] if frame["used"]] == [1, 3, 6]
    assert report["open_s"] == 0.75


@pytest.mark.parametrize(
    ("time_s", "words"),
    [(1 / 60, "1/60 s"), (0.5, "0.5 s"), (59, "59 s"), (90, "1 min 30 s"), (120, "2 min"),
     (3600 * 3 + 61, "3 h 1 min")],
)  # fmt: skip
def test_spoken_times(time_s, words):
    from stacker.cli.words import spoken

    assert spoken(time_s) == words


class TestRefusals:
    def check(self, out, result, *parts):
        assert_refused(result, *parts)
        assert list(out.iterdir()) == []

    def test_no_such_folder(self, out):
        self.check(out, run("expose", out / "nowhere", "-o", out / "a.tif"), "nowhere")

    def test_empty_folder(self, tmp_path, out):
        (tmp_path / "empty").mkdir()
        self.check(out, run("expose", tmp_path / "empty", "-o", out / "a.tif"), "empty")

    def test_unknown_blend(self, burst, out):
        result = run("expose", burst, "--blend", "lihgten", "-o", out / "a.tif")
        self.check(out, result, "lihgten", "did you mean lighten", "median")

    def test_first_beyond_the_end(self, burst, out):
        result = run("expose", burst, "--first", 7, "-o", out / "a.tif")
        self.check(out, result, "--first 7", "6 frames")

    def test_unknown_suffix(self, burst, out):
        self.check(out, run("expose", burst, "-o", out / "a.bmp"), "a.bmp", ".tif")

    def test_depth_that_the_suffix_cannot_have(self, burst, out):
        result = run("expose", burst, "--depth", 32, "-o", out / "a.jpg")
        assert result.returncode == 2
        assert list(out.iterdir()) == []

    def test_missing_folder_for_the_output(self, burst, out):
        self.check(out, run("expose", burst, "-o", out / "no" / "a.tif"), "a.tif", "folder")

    def test_cut_frame(self, burst, out):
        path = burst / "KP_0003.jpg"
        path.write_bytes(path.read_bytes()[:900])
        result = run("expose", burst, "-o", out / "a.tif")
        self.check(out, result, "KP_0003.jpg", "--on-bad skip")
        skipped = run("expose", burst, "--on-bad", "skip", "-o", out / "a.tif")
        assert skipped.returncode == 0
        assert "mean of 5 frames" in skipped.stdout
        assert "1 of 6 frames left out" in skipped.stderr

    def test_sizes_that_differ(self, tmp_path, out):
        write_tiffs(tmp_path / "two", [np.zeros((20, 30, 3), np.uint8)] * 3)
        write_jpegs(tmp_path / "two", 3, prefix="OTHER")
        self.check(out, run("expose", tmp_path / "two", "-o", out / "a.tif"), "two")

    def test_bad_floats(self, tmp_path, out):
        frames = [np.full((9, 9, 3), 0.5, np.float32) for _ in range(3)]
        frames[1][3, 3] = np.nan
        write_tiffs(tmp_path / "floats", frames)
        self.check(out, run("expose", tmp_path / "floats", "-o", out / "a.tif"), "KP_0002.tif")

    @pytest.mark.parametrize(
        "words",
        [
            ["--memory", "lots"], ["--trim", "3,2,1"], ["--weights", "1,x"], ["--workers", "0"],
            ["--shutter", "-1"], ["--interval", "0"], ["--frame-shutter", "nan"],
            ["--on-bad", "maybe"], ["--hold", "sky"],
            ["--bridge", "--blend", "median"], ["--exposure", "nan"],
            ["--last", "3", "--shutter", "1"], ["--trim", "0"], ["--without", "x"],
            ["--without", "9"], ["--without", "1-6"], ["--warmth", "200"], ["--gains", "1,2"],
            ["--neutral", "48,3"], ["--warmth", "9", "--gains", "1,1,1"], ["--neutral", "3"],
            ["--even", "perhaps"],
        ],
    )  # fmt: skip
    def test_options_that_make_no_sense(self, burst, out, words):
        result = run("expose", burst, *words, "-o", out / "a.tif")
        self.check(out, result)


class TestFiles:
    def test_nothing_is_replaced_without_a_word(self, burst, out):
        (out / "a.tif").write_bytes(b"precious")
        assert_refused(run("expose", burst, "-o", out / "a.tif"), "a.tif", "--overwrite")
        assert (out / "a.tif").read_bytes() == b"precious"
        assert run("expose", burst, "-o", out / "a.tif", "--overwrite").returncode == 0
        assert tifffile.imread(out / "a.tif").shape == (32, 48, 3)

    def test_a_source_is_never_replaced(self, burst):
        source = burst / "KP_0002.jpg"
        before = source.read_bytes()
        result = run("expose", burst, "-o", source, "--overwrite")
        assert_refused(result, "KP_0002.jpg")
        (burst.parent / "link.jpg").symlink_to(source)
        result = run("expose", burst, "-o", burst.parent / "link.jpg", "--overwrite")
        assert_refused(result)
        assert source.read_bytes() == before

    def test_the_report_is_not_put_over_the_picture_or_a_source(self, burst, out):
        result = run("expose", burst, "-o", out / "a.tif", "--report", out / "a.tif")
        assert_refused(result)
        source = burst / "KP_0001.jpg"
        before = source.read_bytes()
        result = run("expose", burst, "-o", out / "a.tif", "--report", source, "--overwrite")
        assert_refused(result)
        assert source.read_bytes() == before
        assert list(out.iterdir()) == []

    @pytest.mark.skipif(os.name != "posix", reason="signals")
    @pytest.mark.parametrize("moment", ["blending", "writing"])
    @pytest.mark.parametrize(("how", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
    def test_an_interrupt_leaves_nothing_half_written(self, tmp_path, out, moment, how, code):
        frame = np.random.default_rng(0).integers(0, 255, (5000, 3000, 3)).astype(np.uint8)
        write_tiffs(tmp_path / "long", [frame])
        # many names for one file: seconds of work, little disk
        for number in range(2, 6 if moment == "writing" else 120):
            os.link(tmp_path / "long" / "KP_0001.tif", tmp_path / "long" / f"KP_{number:04d}.tif")
        name = "a.png" if moment == "writing" else "a.tif"
        process = subprocess.Popen(
            [sys.executable, "-m", "stacker", "expose", str(tmp_path / "long"),
             "-o", str(out / name), "--workers", "1"],
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        deadline = time.monotonic() + 60
        if moment == "writing":
            while not list(out.glob(".*.part")) and time.monotonic() < deadline:
                time.sleep(0.005)
        else:
            # the libraries are loaded, and threads read the frames
            while psutil.Process(process.pid).num_threads() < 2 and time.monotonic() < deadline:
                time.sleep(0.005)
        process.send_signal(how)
        _, errors = process.communicate(timeout=60)
        assert process.returncode == code, errors
        assert "Traceback" not in errors
        assert list(out.iterdir()) == []


class TestHolding:
    def test_what_counts_only_where_something_is_held_is_told(self, burst, out):
        result = run("expose", burst, "-o", out / "a.png", "--crop", "full")
        assert result.returncode == 0
        assert "--reference and --crop count only with --hold" in result.stderr


class TestHelp:
    @pytest.mark.parametrize("command", [[], ["expose"], ["ladder"], ["film"], ["demo"], ["scene"]])
    def test_help_shows_an_example(self, command):
        result = run(*command, "--help")
        assert result.returncode == 0
        assert f"stacker {command[0] if command else 'demo'}" in result.stdout

    def test_help_names_every_blend(self):
        from stacker.blend import BLENDS

        text = re.sub(r"\W+", " ", run("expose", "--help").stdout)
        assert [name for name in BLENDS if name not in text] == []

    def test_version(self):
        from stacker.version import VERSION

        assert run("--version").stdout.strip() == f"stacker {VERSION}"

    @pytest.mark.parametrize(
        ("words", "part"),
        [
            (["expose", "x", "--sharpen"], "--sharpen"), (["expose", "x"], "--output"),
            (["expose"], "BURST"), (["exposee"], "exposee"), (["--loud"], "--loud"),
            (["expose", "x", "-o", "a.tif", "--first", "abc"], "--first"),
            (["expose", "x", "-o", "a.tif", "--shutter", "1/0"], "--shutter"),
        ],
    )  # fmt: skip
    def test_words_that_are_no_command(self, words, part):
        assert_refused(run(*words), part, "--help")

    def test_no_words_at_all_show_the_help(self):
        result = run()
        assert result.returncode == 0
        assert "expose" in result.stdout

    def test_starting_loads_nothing_heavy(self):
        code = (
            "import sys, stacker, stacker.cli.app; "
            "heavy = {'numpy', 'cv2', 'av', 'PIL', 'tifffile', 'rich.progress'}; "
            "print(sorted(heavy & set(sys.modules)))"
        )
        result = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
        assert result.stdout.strip() == "[]", result.stderr

    def test_quiet_says_nothing_on_stderr(self, tmp_path, out):
        bright = np.full((20, 20, 3), 255, np.uint8)
        write_tiffs(tmp_path / "bright", [bright] * 2)
        loud = run("expose", tmp_path / "bright", "-o", out / "a.tif")
        quiet = run("expose", tmp_path / "bright", "-o", out / "b.tif", "--quiet")
        assert "burnt out" in loud.stderr
        assert quiet.stderr == ""


class TestCompletion:
    def complete(self, words: str, place: int) -> list[str]:
        environment = os.environ | {
            "_STACKER_COMPLETE": "complete_bash", "COMP_WORDS": words, "COMP_CWORD": str(place)
        }  # fmt: skip
        code = "from stacker.cli import main; main()"
        command = [sys.executable, "-c", code]
        result = subprocess.run(command, capture_output=True, text=True, env=environment)
        return result.stdout.split()

    def test_commands_blends_and_scenes(self):
        assert self.complete("stacker ", 1) == [
            "demo",
            "expose",
            "film",
            "ladder",
            "master",
            "plan",
            "scene",
            "serve",
            "survey",
        ]
        assert self.complete("stacker expose frames --blend m", 4) == ["mean", "max", "median"]
        assert "fireworks" in self.complete("stacker scene f", 2)


class TestOddSurroundings:
    def test_results_among_the_frames_are_no_frames(self, burst):
        for name in ("out.jpg", "out.png", "again.jpg"):
            result = run("expose", burst, "-o", burst / name)
            assert "mean of 6 frames" in result.stdout
        assert "made by this program" in result.stderr
        assert run("expose", burst, "-o", burst / "out.jpg", "--overwrite").returncode == 0
        # named outright, results are frames like any others
        both = run("expose", burst / "out.jpg", burst / "again.jpg", "-o", burst / "both.tif")
        assert "mean of 2 frames" in both.stdout

    def test_a_report_under_another_spelling_of_the_picture(self, burst, out):
        alias = out / ".." / out.name / "a.tif"
        result = run("expose", burst, "-o", out / "a.tif", "--report", alias, "--overwrite")
        assert_refused(result)

    @pytest.mark.skipif(os.name != "posix", reason="shell")
    def test_nobody_reads_what_is_printed(self, burst, out):
        command = f'"{sys.executable}" -m stacker expose "{burst}" -o "{out}/a.tif" > /dev/full'
        result = subprocess.run(["sh", "-c", command], capture_output=True, text=True)
        assert result.returncode == 0, result.stderr
        assert result.stderr == ""
        assert (out / "a.tif").exists()

    def test_brackets_in_the_folder_of_a_pattern(self, tmp_path, out):
        write_jpegs(tmp_path / "night [1]", 3)
        result = run("expose", tmp_path / "night [1]" / "KP_*.jpg", "-o", out / "a.tif")
        assert "mean of 3 frames" in result.stdout

    @pytest.mark.skipif(os.name != "posix", reason="named pipes")
    def test_what_is_no_ordinary_file(self, tmp_path, out):
        os.mkfifo(tmp_path / "pipe.jpg")
        assert_refused(run("expose", tmp_path / "pipe.jpg", "-o", out / "a.tif"), "pipe.jpg")

    @pytest.mark.parametrize("name", ["", "x" * 300, "no\nsuch\nfile.jpg"])
    def test_names_that_cannot_be(self, name, out):
        assert_refused(run("expose", name, "-o", out / "a.tif"))

    def test_a_name_that_is_no_text(self, burst, out):
        (burst / "KP_0001.jpg").rename(os.fsdecode(os.fsencode(burst) + b"/KP_\xff.jpg"))
        result = run("expose", burst, "-o", out / "a.tif", "--report", out / "a.json")
        assert result.returncode == 0, result.stderr
        assert len(json.loads((out / "a.json").read_text())["frames"]) == 6

    def test_a_very_wide_picture(self, tmp_path, out):
        write_tiffs(tmp_path / "wide", [np.zeros((1, 500_000, 3), np.uint8)] * 2)
        assert run("expose", tmp_path / "wide", "-o", out / "a.tif").returncode == 0

    def test_the_number_of_workers_does_not_show_in_the_file(self, burst, out):
        for workers in (1, 3):
            run("expose", burst, "-o", out / f"{workers}.png", "--workers", workers)
        assert (out / "1.png").read_bytes() == (out / "3.png").read_bytes()

    def test_a_smaller_scene_leaves_no_frame_of_the_larger_one(self, tmp_path):
        folder = tmp_path / "road"
        assert run("scene", "road", folder, "--frames", 4, "--size", "48x32").returncode == 0
        again = run(
            "scene", "road", folder, "--frames", 2, "--size", "48x32", "--format", "png",
            "--overwrite",
        )  # fmt: skip
        assert again.returncode == 0, again.stderr
        assert sorted(path.name for path in folder.glob("KP_*")) == ["KP_0001.png", "KP_0002.png"]

    @pytest.mark.parametrize(
        "words", [["--seed", -1], ["--size", "999999x999999"], ["--size", "big"], ["--frames", 0]]
    )
    def test_scenes_that_cannot_be(self, tmp_path, words):
        assert_refused(run("scene", "road", tmp_path / "road", *words), str(words[0]))
        assert not (tmp_path / "road").exists()


class TestReportAsAPage:
    def test_the_suffix_makes_it_a_page(self, burst, out):
        result = run("expose", burst, "-o", out / "a.jpg", "--report", out / "a.html", "--quiet")
        assert result.returncode == 0, result.stderr
        assert (out / "a.html").read_text().startswith("<!doctype html>")

    def test_it_is_refused_before_the_work_begins(self, burst, out):
        (out / "a.html").write_text("mine")
        result = run("expose", burst, "-o", out / "a.jpg", "--report", out / "a.html")
        assert_refused(result, "a.html", "exists already")
        assert (out / "a.html").read_text() == "mine"
        assert not (out / "a.jpg").exists()
