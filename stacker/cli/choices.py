"""From what was typed to an exposure's settings: one table for all commands that expose."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import typer

from stacker.cli.regions import regions_of
from stacker.cli.subject import LIST
from stacker.cli.words import (
    blend_names,
    count_or_auto,
    frame_numbers,
    memory_size,
    numbers,
    one_or_two,
)


def _as_typed(value: Any) -> Any:
    return value


def _changes(texts: list[str]) -> Any:
    from stacker.engine.stroke_change import stroke_changes

    return stroke_changes(each for each in texts if each != LIST)


# for each option, by its name in the command: the setting, and how it is made of what was typed
_SETTINGS: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "moment": ("moment", str.strip),
    "first": ("first", _as_typed),
    "last": ("last", _as_typed),
    "shutter": ("shutter_s", _as_typed),
    "without": ("without", lambda text: frame_numbers("--without", text)),
    "keep_bursts": ("keep_bursts", count_or_auto),
    "on_bad": ("on_bad", _as_typed),
    "hold": ("hold", _as_typed),
    "reference": ("reference", _as_typed),
    "box": ("box", lambda text: numbers("--box", text)),
    "crop": ("crop", _as_typed),
    "blend": ("blends", blend_names),
    "ramp_in": ("ramp_in_s", _as_typed),
    "ramp_out": ("ramp_out_s", _as_typed),
    "weights": ("weights", lambda text: numbers("--weights", text)),
    "trim": ("trim", lambda text: one_or_two("--trim", text)),
    "floor": ("floor", _as_typed),
    "tail": ("tail_s", _as_typed),
    "tail_to": ("tail_to", _as_typed),
    "even": ("even", _as_typed),
    "bridge": ("bridge", _as_typed),
    "region": ("regions", regions_of),
    "passes": ("passes", _changes),
    "glow": ("glow", _as_typed),
    "keep_planes": ("planes", lambda kept: "keep" if kept else "out"),
    "dark": ("darks", tuple),
    "flat": ("flats", tuple),
    "bias": ("biases", tuple),
    "hot_pixels": ("hot_pixels", _as_typed),
    "memory": ("memory", memory_size),
    "workers": ("workers", _as_typed),
}


# how frames are opened, and how the result leaves
_FILES: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "exposure": ("exposure", _as_typed),
    "shoulder": ("shoulder", _as_typed),
    "warmth": ("warmth", _as_typed),
    "gains": ("gains", lambda text: numbers("--gains", text)),
    "neutral": ("neutral", lambda text: numbers("--neutral", text)),
    "depth": ("depth", _as_typed),
    "space": ("space", _as_typed),
    "keep_location": ("keep_location", _as_typed),
    "interval": ("interval_s", _as_typed),
    "frame_shutter": ("frame_shutter_s", _as_typed),
    "strict": ("strict", _as_typed),
    "highlights": ("highlights", _as_typed),
    "half": ("half", _as_typed),
}


def said(context: typer.Context) -> dict[str, Any]:
    """Return the settings that were typed, and not left to their defaults, by their names.

    Raises
    ------
    OptionError
        One of them is not what the option takes.
    """
    return _typed(context, _SETTINGS)


def said_of_files(context: typer.Context) -> dict[str, Any]:
    """Return what was typed of how frames are opened and the result leaves, by the names that
    a settings file has for it.

    Raises
    ------
    OptionError
        One of them is not what the option takes.
    """
    return _typed(context, _FILES)


def _typed(
    context: typer.Context, options: dict[str, tuple[str, Callable[[Any], Any]]]
) -> dict[str, Any]:
    return {
        setting: make(context.params[option])
        for option, (setting, make) in options.items()
        if option in context.params and not _is_default(context, option)
    }


def _is_default(context: typer.Context, name: str) -> bool:
    source = context.get_parameter_source(name)
    return source is None or source.name in ("DEFAULT", "DEFAULT_MAP")
