"""What a person chose for a burst, kept in a file beside the results that a command takes too."""

from __future__ import annotations

import json
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from stacker.engine.settings_file import chosen_from
from stacker.errors import OptionError
from stacker.finish import place_file
from stacker.page.answers import PageError
from stacker.page.chosen import chosen_in
from stacker.page.folder import Served
from stacker.page.opened import Opened
from stacker.version import PROGRAM

SUFFIX = ".stacker.json"
FORMAT = 1
MOST_VERSIONS, LONGEST_NAME = 200, 200
_turn = threading.Lock()


def session_path(served: Served, opened: Opened) -> Path:
    """Return where the choices for a burst are kept.

    Named after the burst; where another burst of that name has its choices there, with a mark.
    """
    name = opened.path.name.lstrip(".") or "burst"
    path = served.target(name + SUFFIX)
    owner = _owner(path)
    if owner is None or owner == opened.path or not owner.exists():
        return path
    return served.target(f"{name}-{opened.key[:6]}{SUFFIX}")


def _owner(path: Path) -> Path | None:
    """Return the burst whose choices a file holds; None where it tells none."""
    try:
        return Path(json.loads(path.read_bytes())["burst"])
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def read_session(served: Served, opened: Opened) -> dict[str, Any]:
    """Return the choices for a burst; none where nothing was saved, or nothing that can be read."""
    nothing = {"revision": 0, "settings": {}, "versions": [], "selected": None}
    path = session_path(served, opened)
    try:
        data = json.loads(path.read_bytes())
        chosen_from(data["settings"])
    except FileNotFoundError:
        return nothing
    except (OSError, ValueError, KeyError, TypeError, OptionError, RecursionError):
        note = f"{path.name} holds no settings that can be read; it is kept until you save anew"
        return {**nothing, "note": note}
    return {name: data.get(name, usual) for name, usual in nothing.items()}


def save_session(served: Served, opened: Opened, data: Mapping[str, Any]) -> dict[str, Any]:
    """Return the new revision, having saved the choices for a burst, whole or not at all.

    Raises
    ------
    PageError
        ``stale-session``: another tab saved meanwhile; its choices go with the error.
    StackerError
        The choices are none, or cannot be written.
    """
    versions = _versions(data.get("versions", []), served)
    settings = _kept(data, served)
    with _turn:
        before = read_session(served, opened)
        if data.get("revision") != before["revision"]:
            raise PageError(
                opened.path.name,
                "another window saved its choices meanwhile",
                remedy="take them over, or save yours over them",
                code="stale-session",
                more={"session": before},
            )
        session = {
            "format": FORMAT,
            "program": PROGRAM,
            "burst": str(opened.path),
            "revision": before["revision"] + 1,
            "selected": _selected(data.get("selected")),
            "settings": settings,
            "versions": versions,
        }
        text = json.dumps(session, indent=1, ensure_ascii=False) + "\n"
        path = session_path(served, opened)
        with place_file(path, overwrite=True, sources=opened.burst.sources) as file:
            file.write(text.encode("utf-8", "backslashreplace"))
    return {"revision": session["revision"]}


def _kept(data: Mapping[str, Any], served: Served) -> dict[str, Any]:
    """Return settings as they are saved: looked through, and masks named as they came.

    The command looks for them beside the file.
    """
    told = chosen_in(data, served).told()
    if "regions" in told:
        told["regions"] = data["settings"]["regions"]
    return told


def _versions(given: object, served: Served) -> list[dict[str, Any]]:
    """Return the versions with their settings looked through."""
    if not isinstance(given, list) or len(given) > MOST_VERSIONS:
        raise _refusal(f"versions are a list of at most {MOST_VERSIONS}")
    versions = []
    for each in given:
        name = each.get("name") if isinstance(each, dict) else None
        if not isinstance(name, str) or len(name) > LONGEST_NAME:
            raise _refusal(f"a version has a name of at most {LONGEST_NAME} letters")
        versions.append({"name": name, "settings": _kept(each, served)})
    return versions


def _selected(given: object) -> int | str | None:
    if given is None or isinstance(given, int) or (isinstance(given, str) and len(given) < 200):
        return given
    raise _refusal("what is selected is a number or a name")


def _refusal(why: str) -> PageError:
    return PageError("the session", why, remedy="load the page again", code="bad-request")
