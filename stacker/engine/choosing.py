"""Settings from what was said and from what the subject asks for; what was said wins."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any

from stacker.engine.settings import BRIDGED_BLENDS, KEEPING_BLENDS, Settings
from stacker.engine.subjects import Choice, chosen_for


def settings_for(subject: str | None, given: Mapping[str, Any]) -> Settings:
    """Return the settings of an exposure.

    Parameters
    ----------
    subject : what the burst is of, such as ``"water"``; None for no choices of its own.
    given : the settings that were said, by their names in ``Settings``.

    Raises
    ------
    OptionError
        There is no such subject, or the settings do not make sense.
    """
    if subject is None:
        return Settings(**given)
    said = dict(given)
    explicit = {"blend" if name == "blends" else name for name in said}
    chosen = chosen_for(subject, explicit)
    by_option = {choice.option: choice.value for choice in chosen.choices}
    blends = said.pop("blends", None) or (str(by_option["blend"]),)
    fitting = tuple(c for c in chosen.choices if _fits(c, blends, explicit))
    chosen = replace(chosen, choices=fitting)
    settings: dict[str, Any] = {c.option: c.value for c in chosen.choices if c.option != "blend"}
    if settings.get("hold") == "subject" and said.get("box") is None:
        # its box is looked for in the burst: see subject_hold.py
        del settings["hold"]
    return Settings(blends=blends, **settings, **said, subject=chosen)


def _fits(choice: Choice, blends: tuple[str, ...], explicit: Collection[str]) -> bool:
    """Return whether a subject's choice goes with the blends and with what was said."""
    if choice.option == "regions":
        # they part what the subject's own blend and hold would do to all of the picture
        return not {"blend", "hold"} & set(explicit)
    if choice.option == "bridge":
        return bool(set(blends) & set(BRIDGED_BLENDS))
    if choice.option == "planes":
        return bool(set(blends) & set(KEEPING_BLENDS))
    needed = {"floor": "lighten", "doubts": "median"}.get(choice.option)
    return needed is None or needed in blends
