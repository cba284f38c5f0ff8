"""``--for SUBJECT`` of an exposure: what can be said, and the list of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import typer

from stacker.cli.options import ADDING
from stacker.cli.telling import tell, telling_errors
from stacker.subjects import SUBJECT_TITLES

OPTION, LIST = "--for", "list"


def with_list_asked(arguments: Sequence[str]) -> list[str]:
    """Return the words of a command line in which ``--for`` without a name asks for the list.

    The library has no options whose value may be left out.
    """
    words: list[str] = []
    for place, word in enumerate(arguments):
        if word == "--":
            return [*words, *arguments[place:]]
        words.append(word)
        after = arguments[place + 1] if place + 1 < len(arguments) else "-"
        if word == OPTION and after.startswith("-"):
            words.append(LIST)
    return words


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
        OPTION,
        help="What the burst is of, such as water, traffic, star-trails or crowd: it chooses the "
        "blend, what is held, the bridge and the noise floor, unless they are given too. "
        "Without a name it lists them.",
        metavar="SUBJECT",
        callback=_listed,
        # the list wants neither a burst nor a name for the picture
        is_eager=True,
        rich_help_panel=ADDING,
        autocompletion=_subjects_with,
    ),
]
