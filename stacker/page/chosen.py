"""Settings as the page sends them, held to the served folder."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from stacker.engine.settings_file import Chosen, chosen_from, masks_below
from stacker.page.answers import PageError
from stacker.page.folder import Served

# settings that name files
FILES = ("darks", "flats", "biases")


def chosen_in(data: Mapping[str, Any], served: Served) -> Chosen:
    """Return what was chosen, from the ``settings`` of a request.

    Files that it names become whole paths, which must lie below the served folder.

    Raises
    ------
    StackerError
        These are no settings of one picture, or name files elsewhere.
    """
    chosen = chosen_from(data.get("settings", {}))
    said = dict(chosen.said)
    for name in FILES:
        if said.get(name):
            said[name] = tuple(str(served.path_of(each)) for each in said[name])
    if len(said.get("blends") or ("one",)) != 1:
        raise PageError(
            "the blend", "the page makes one picture at a time", remedy="name one", code="bad-blend"
        )
    # memory and processors are this machine's matter, not a browser's
    said.pop("memory", None)
    said.pop("workers", None)
    said = masks_below(said, served.output)
    for region in said.get("regions") or ():
        _refuse_elsewhere(str(region.get("mask")), served)
    found = Chosen(said, chosen.subject)
    # what does not make sense is told before any work
    assert found.settings and found.balance
    return found


def _refuse_elsewhere(mask: str, served: Served) -> None:
    """Refuse a mask that names a file outside of the output folder."""
    path = Path(served.output, mask)
    if path.exists() and not path.resolve().is_relative_to(served.output):
        raise PageError(
            mask, "it does not lie in the output folder", remedy="paint it here", code="bad-mask"
        )
