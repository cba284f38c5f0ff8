"""The benchmark of the page runs, and an answer is made without a look at the files."""

import subprocess
import sys
from pathlib import Path


def test_the_benchmark_of_the_page_runs():
    result = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.page_latency", "--small"],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    assert result.returncode == 0, result.stderr
    for word in ("| mean | 1500 |", "| lighten | 375 |", "| median | 1500 |"):
        assert word in result.stdout


def test_answers_come_from_memory(client, opened, served):
    for path in (served.root / "harbour").iterdir():
        path.unlink()
    for blend in ("mean", "lighten", "median", "max", "sum", "darken", "lights"):
        body = {"settings": {"blends": [blend], "first": 2}}
        answer = client.post(f"/api/burst/{opened}/preview", json=body)
        assert answer.status_code == 200, answer.text
