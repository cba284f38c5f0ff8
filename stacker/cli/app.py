"""The commands, put together. Each command's module is light; what it runs is imported then."""

from __future__ import annotations

from typing import Annotated, cast

import typer

from stacker.cli.demo import demo
from stacker.cli.expose import expose
from stacker.cli.film import film
from stacker.cli.ladder import ladder
from stacker.cli.master import master
from stacker.cli.move import move
from stacker.cli.plan import plan
from stacker.cli.scene import scene
from stacker.cli.serve import serve
from stacker.cli.subject import with_list_asked
from stacker.cli.survey import survey
from stacker.cli.telling import WRONG_INPUT
from stacker.version import PROGRAM

# typer lets only a leaf of its tree of errors be seen: two steps up stand all of the user's doing
USAGE_ERROR = cast(type[typer.BadParameter], typer.BadParameter.__mro__[2])
COMMANDS = (
    "demo", "expose", "film", "ladder", "master", "move", "plan", "scene", "serve", "survey",
)  # fmt: skip

app = typer.Typer(
    help="Long exposures made afterwards, from bursts of short frames.",
    epilog="Start with: stacker demo kestrel-point",
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


def run(arguments: list[str]) -> int:
    """Return the exit code of a command line; what is wrong with its words is one sentence."""
    try:
        code = app(args=with_list_asked(arguments), prog_name="stacker", standalone_mode=False)
    except USAGE_ERROR as error:
        words = " ".join(error.format_message().split()).removesuffix(".")
        command = arguments[0] if arguments[0] in COMMANDS else ""
        asking = " ".join(filter(None, ["stacker", command, "--help"]))
        typer.echo(f"stacker: {words}; {asking} tells what there is.", err=True)
        return WRONG_INPUT
    return code if isinstance(code, int) else 0


app.command()(demo)
app.command()(expose)
app.command()(film)
app.command()(ladder)
app.command()(master)
app.command()(move)
app.command()(plan)
app.command()(scene)
app.command()(serve)
app.command()(survey)
