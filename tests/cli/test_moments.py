"""``--moment`` as it is typed: what it says, and what it refuses."""

import json

from stacker.engine.settings_file import Chosen
from stacker.page.command import command_for
from tests.cli.test_expose import assert_refused, run
from tests.engine.test_dusk import write_dusk


def test_a_moment_tells_its_clock_and_its_frames(tmp_path):
    write_dusk(tmp_path / "dusk")
    words = ("expose", "dusk", "--frame-shutter", "1", "-o", "out.png", "--report", "r.json")
    result = run(*words, "--moment", "18:25", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert result.stdout.startswith("out.png: mean of ")
    (found,) = json.loads((tmp_path / "r.json").read_text())["moments"]
    assert found["clock"] == "18:25:00"
    assert f"at 18:25:00: frames {found['first']} to {found['last']} (18:" in result.stderr
    result = run(*words, "--for", "dusk", "--moment", "auto", "--overwrite", cwd=tmp_path)
    assert result.returncode == 0, result.stderr
    assert result.stderr.count("sky and lamps balance at 18:") == 1
    twice = run(*words, "--moment", "auto", "--last", "4", "--overwrite", cwd=tmp_path)
    assert_refused(twice, "--moment", "the span is given twice")
    late = run(*words, "--moment", "19:00", "--overwrite", cwd=tmp_path)
    assert_refused(late, "--moment 19:00", "give a time from 18:20:00 to 18:39:00")


def test_the_page_tells_moments_and_balances_as_they_are_typed(tmp_path):
    said = {
        "moment": "21:10",
        "regions": ({"mask": "ground", "moment": "auto", "gains": (1.1, 1.0, 0.8)},),
    }
    command = command_for(tmp_path / "dusk", tmp_path / "out.png", Chosen(said))
    assert "--moment 21:10" in command
    assert "'ground=moment auto, gains 1.1 1.0 0.8'" in command
