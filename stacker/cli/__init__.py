"""What a person types. No arithmetic of pictures in here."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and leave with its exit code."""
    try:
        from stacker.cli.app import app

        app(prog_name="stacker")
    except KeyboardInterrupt:
        # between start and the first command
        sys.exit(130)
