"""The package's names, and that taking them costs little."""

from __future__ import annotations

import subprocess
import sys

import stacker.finish

HEAVY = ("tifffile", "imagecodecs", "simplejpeg", "PIL")


def test_every_public_name_is_there_and_told() -> None:
    for name in stacker.finish.__all__:
        assert getattr(stacker.finish, name).__doc__


def test_import_brings_no_reader_or_writer_of_files() -> None:
    asked = f"import sys, stacker.finish; print([m for m in {HEAVY} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
