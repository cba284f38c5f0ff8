"""What happened in a burst that can be chosen from: bursts of fireworks, passes of lamps."""

from __future__ import annotations

from typing import Any

from stacker.engine.fireworks import shells_in
from stacker.engine.strokes import passes_in
from stacker.page.answers import PageError
from stacker.page.opened import Opened


def events_of(opened: Opened) -> dict[str, Any]:
    """Return the events of a burst, ready for JSON.

    Raises
    ------
    PageError
        Its frames are still being read.
    """
    if not opened.is_ready:
        raise PageError(
            opened.path.name, "its frames are still being read", remedy="ask again", code="not-yet"
        )
    level = opened.plain.coarse
    shells = shells_in(level.burst, level.frames)
    return {
        "bursts": [
            {
                "n": number,
                "first": shell.first + 1,
                "last": shell.last + 1,
                "brightness": shell.brightness,
                "extent": shell.extent,
            }
            for number, shell in enumerate(shells, start=1)
        ],
        "passes": [
            {"n": number, "first": places[0] + 1, "last": places[-1] + 1}
            for number, places in passes_in(level.burst)
        ],
    }
