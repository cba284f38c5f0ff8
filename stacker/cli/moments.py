"""``--moment``: the frames about a moment, in place of a span."""

from __future__ import annotations

from typing import Annotated

import typer

from stacker.cli.options import SPAN

Moment = Annotated[
    str | None,
    typer.Option(
        help="The frames about a moment, within a quarter of a stop: auto finds the one at which "
        "sky and lamps of a dusk balance; or a time by the frames' own clock, such as 21:21.",
        metavar="auto|CLOCK",
        rich_help_panel=SPAN,
        autocompletion=lambda: ["auto"],
    ),
]
