"""The commands, put together. Each command's module is light; what it runs is imported then."""

from __future__ import annotations

from typing import Annotated

import typer

from stacker.cli.demo import demo
from stacker.cli.expose import expose
from stacker.cli.scene import scene
from stacker.version import PROGRAM

app = typer.Typer(
    help="Long exposures made afterwards, from bursts of short frames.",
    epilog="Start with: stacker demo kestrel-point",
    no_args_is_help=True,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(PROGRAM)
        raise typer.Exit


@app.callback()
def options(
    version: Annotated[
        bool,
        typer.Option(
            "--version", help="Show the version and leave.", callback=_show_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Long exposures made afterwards, from bursts of short frames."""


app.command()(demo)
app.command()(expose)
app.command()(scene)
