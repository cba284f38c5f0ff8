"""``stacker film`` as a person types it."""

import json
import os
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from tests.bursts import write_jpegs, write_tiffs
from tests.cli.test_expose import assert_refused, run


@pytest.fixture
def burst(tmp_path):
    write_jpegs(tmp_path / "burst", 6)
    return tmp_path / "burst"


def test_a_film_with_a_report(burst, tmp_path):
    words = ("-o", tmp_path / "a.mp4", "--fps", "30000/1001", "--report", tmp_path / "a.json")
    result = run("film", burst, *words, "--sliding", "1")
    assert result.returncode == 0, result.stderr
    assert result.stderr == ""
    assert "mean sliding over 2 frames at a time, 5 pictures, 1/6 s at 29.97" in result.stdout
    report = json.loads((tmp_path / "a.json").read_text())
    assert report["film"]["pictures"] == 5
    assert_refused(run("film", burst, *words), "exists already", "--overwrite")


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (["-o", "a.gif"], ["a.gif", ".mp4"]),
        (["-o", "a.mp4", "--fps", "fast"], ["fast is no frame rate"]),
        (["-o", "a.mp4", "--width", "33"], ["--width 33", "even"]),
        (["-o", "a.mp4", "--sliding", "60"], ["--sliding 60", "3 s in all"]),
        (["-o", "a.mp4", "--report", "a.mp4"], ["--report a.mp4", "choose another name"]),
        (["-o", "a.mp4", "--last", "1"], ["one frame makes no film"]),
    ],
)
def test_what_cannot_be_is_one_sentence(burst, tmp_path, words, parts):
    assert_refused(run("film", burst, *words, cwd=tmp_path), *parts)
    assert [path.name for path in tmp_path.iterdir()] == ["burst"]


@pytest.mark.skipif(os.name != "posix", reason="signals")
def test_an_interrupt_leaves_nothing(tmp_path):
    frame = np.random.default_rng(0).integers(0, 255, (1000, 1500, 3)).astype(np.uint8)
    write_tiffs(tmp_path / "long", [frame])
    # many names for one file: seconds of work, little disk
    for number in range(2, 200):
        os.link(tmp_path / "long" / "KP_0001.tif", tmp_path / "long" / f"KP_{number:04d}.tif")
    out = tmp_path / "out"
    out.mkdir()
    process = subprocess.Popen(
        [sys.executable, "-m", "stacker", "film", str(tmp_path / "long"), "-o", str(out / "a.mp4")],
        stderr=subprocess.PIPE,
        text=True,
    )
    deadline = time.monotonic() + 60
    while not list(out.glob(".*.part")) and time.monotonic() < deadline:
        time.sleep(0.01)
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=60)
    assert process.returncode == 130, errors
    assert "Traceback" not in errors
    assert list(out.iterdir()) == []
