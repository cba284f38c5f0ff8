"""Master frames read from the files that this program wrote."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np

from stacker.burst.ifd import open_tags
from stacker.burst.readers.facts import COPY_AGAIN, in_short
from stacker.errors import FrameError
from stacker.light.master import FORMAT, MARK, Master, master_of_facts

DESCRIPTION = 270


def read_master(path: Path) -> Master | None:
    """Return the master that a file holds, None where it says that it is none.

    Raises
    ------
    FrameError
        The file is a master, and damaged or of a later version.
    """
    facts = _facts(path)
    if facts is None:
        return None
    if facts[MARK] != FORMAT:
        raise FrameError(
            path,
            f"it is a master of form {facts[MARK]}, of which this version knows nothing",
            remedy="make it again from its frames",
            code="master-unknown",
        )
    import tifffile

    try:
        with tifffile.TiffFile(path) as file:
            pixels = np.ascontiguousarray(file.pages[0].asarray(), np.float32)
        if not np.isfinite(pixels).all():
            raise ValueError("numbers that are none")
        return master_of_facts(facts, pixels)
    # what tifffile raises over damaged data
    except (ValueError, IndexError, KeyError, TypeError, OSError, struct.error) as error:
        why = f"the master is damaged ({in_short(error)})"
        raise FrameError(path, why, remedy=COPY_AGAIN, code="frame-unreadable") from error


def refusal_of_master(path: Path) -> FrameError | None:
    """Return why a file is no frame of a burst: it holds a master, whose numbers are no picture."""
    facts = _facts(path)
    if facts is None:
        return None
    kind = facts.get("kind", "of a later version")
    why = f"it is a master {kind} and no frame of a burst"
    return FrameError(path, why, remedy=f"give it as --{kind}, by itself", code="frame-is-master")


def _facts(path: Path) -> dict[str, Any] | None:
    """Return what a master's description says, None where it is no master's."""
    try:
        with path.open("rb") as stream:
            tags = open_tags(stream)
            facts = json.loads(tags.text(tags.directory(tags.first), DESCRIPTION))
    except (OSError, struct.error, ValueError):
        return None
    return facts if isinstance(facts, dict) and MARK in facts else None
