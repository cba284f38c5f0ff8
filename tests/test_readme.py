"""The demo, and every command and example of the README's tour, as they stand there."""

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from stacker.demo import PICTURES

README = (Path(__file__).parent.parent / "README.md").read_text()
TOUR = README[README.index("## Five minutes") : README.index("## How frames add up")]
# dB from the truth: a little below what the demo reaches
LEAST_DB = {"harbour": 43, "road": 32, "stars": 35, "quay": 44}


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return tmp_path_factory.mktemp("tour")


@pytest.fixture(scope="module")
def demo(place):
    command = [sys.executable, "-m", "stacker", "demo"]
    return subprocess.run(command, cwd=place, capture_output=True, text=True)


def test_the_demo_makes_its_pictures_near_the_truth(demo, place):
    assert demo.returncode == 0, demo.stderr
    figures = re.findall(r"\(PSNR\) ([\d.]+) dB, of one frame alone ([\d.]+) dB", demo.stdout)
    assert len(figures) == len(PICTURES)
    for picture, (result, frame) in zip(PICTURES, figures, strict=True):
        assert (place / "kestrel-point" / picture.file).exists()
        assert float(result) > LEAST_DB[picture.scene]
        assert float(result) > float(frame) + 8


def test_a_second_demo_leaves_alone_what_is_there(demo, place):
    ours = place / "kestrel-point" / "stars" / "my-notes.txt"
    ours.write_text("precious")
    command = [sys.executable, "-m", "stacker", "demo"]
    again = subprocess.run(command, cwd=place, capture_output=True, text=True)
    assert again.returncode == 2
    assert "--overwrite" in again.stderr
    forced = subprocess.run([*command, "--overwrite"], cwd=place, capture_output=True, text=True)
    assert forced.returncode == 0, forced.stderr
    assert ours.read_text() == "precious"
    ours.unlink()


def test_every_command_of_the_tour(demo, place):
    commands = [
        line
        for block in re.findall(r"```\n(.*?)```", TOUR, re.DOTALL)
        for line in block.splitlines()
    ]
    assert len(commands) >= 8
    for line in commands:
        words = shlex.split(line)
        assert words[0] == "stacker"
        command = [sys.executable, "-m", *words]
        result = subprocess.run(command, cwd=place, capture_output=True, text=True)
        assert result.returncode == 0, f"{line}: {result.stderr}"


def test_the_python_example(demo, place):
    code = re.search(r"```python\n(.*?)```", TOUR, re.DOTALL)
    assert code is not None
    result = subprocess.run(
        [sys.executable, "-c", code[1]], cwd=place, capture_output=True, text=True
    )
    assert result.returncode == 0, result.stderr
