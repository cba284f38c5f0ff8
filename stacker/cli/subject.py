"""``--for SUBJECT`` of an exposure: what can be said, and the list of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from stacker.cli.options import ADDING
from stacker.cli.telling import tell, telling_errors
from stacker.subjects import SUBJECT_TITLES

LIST = "list"


def _subjects_with(incomplete: str) -> list[tuple[str, str]]:
    """Return the subjects that begin like this, in words, for the shell."""
    return [each for each in SUBJECT_TITLES.items() if each[0].startswith(incomplete)]


def _listed(name: str | None) -> str | None:
    """Return the name; a list of them and the end of the command for ``list``."""
    if name == LIST:
        from stacker.engine.subjects import PRESETS

        for preset in PRESETS.values():
            tell(f"{preset.name:<16}{SUBJECT_TITLES[preset.name]}: {preset.summary}")
        raise typer.Exit
    if name is not None:
        from stacker.subjects import check_subject

        with telling_errors():
            check_subject(name)
    return name


Subject = Annotated[
    str | None,
    typer.Option(
        "--for",
        help="What the burst is of, such as water, traffic, star-trails or crowd: it chooses the "
        "blend, what is held, the bridge and the noise floor, unless they are given too. list "
        "tells them all.",
        metavar="SUBJECT",
        callback=_listed,
        # the list wants neither a burst nor a name for the picture
        is_eager=True,
        rich_help_panel=ADDING,
        autocompletion=_subjects_with,
    ),
]


def said(context: typer.Context, settings: Mapping[str, Any]) -> dict[str, Any]:
    """Return those of the settings that were typed, and not left to their defaults.

    Parameters
    ----------
    settings : values by their names in ``Settings``.
    """
    left = {name for name in context.params if _is_default(context, name)}
    return {name: value for name, value in settings.items() if _OPTIONS.get(name, name) not in left}


# settings whose options have other names
_OPTIONS = {
    "blends": "blend",
    "shutter_s": "shutter",
    "ramp_in_s": "ramp_in",
    "ramp_out_s": "ramp_out",
    "tail_s": "tail",
    "darks": "dark",
    "flats": "flat",
    "biases": "bias",
    "planes": "keep_planes",
}


def _is_default(context: typer.Context, name: str) -> bool:
    source = context.get_parameter_source(name)
    return source is None or source.name in ("DEFAULT", "DEFAULT_MAP")
