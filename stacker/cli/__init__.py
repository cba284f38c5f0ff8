"""What a person types. No arithmetic of pictures in here."""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType

TERMINATED = 143


def main() -> None:
    """Run the command line and leave with its exit code."""
    # frames are worked on in parallel; threads of the linear algebra would only spin beside them
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # a polite end removes what is half-written, as an interrupt does
    signal.signal(signal.SIGTERM, _leave)
    try:
        from stacker.cli.app import run

        sys.exit(run(sys.argv[1:] or ["--help"]))
    except KeyboardInterrupt:
        # between start and the first command
        sys.exit(130)


def _leave(_number: int, _frame: FrameType | None) -> None:
    sys.exit(TERMINATED)
