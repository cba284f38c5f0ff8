"""How commands speak: errors as one sentence, exit codes, progress on the terminal."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import typer

from stacker.errors import StackerError

if TYPE_CHECKING:
    from stacker.engine.progress import Progress

WRONG_INPUT = 2
INTERRUPTED = 130


@contextmanager
def telling_errors() -> Iterator[None]:
    """Turn the input's errors into one sentence and code 2, an interrupt into code 130.

    Anything else is a fault of the program: Python shows where, and leaves with code 1.
    """
    try:
        yield
    except StackerError as error:
        typer.echo(f"stacker: {error}", err=True)
        raise typer.Exit(WRONG_INPUT) from error
    except KeyboardInterrupt as error:
        typer.echo("stacker: interrupted; no half-written file is left.", err=True)
        raise typer.Exit(INTERRUPTED) from error


def tell(sentence: str) -> None:
    """Print a result on stdout."""
    try:
        typer.echo(sentence)
    except OSError:
        # nobody reads on, or there is no room for the words: the files are what counts
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def note(sentence: str, *, quiet: bool) -> None:
    """Print a remark on stderr, unless told to be quiet."""
    if not quiet:
        typer.echo(f"note: {sentence}", err=True)


def telling_of(reports: Sequence[Mapping[str, Any]], *, quiet: bool) -> None:
    """Print the warnings of reports, each once; what is told of gaps has a line of its own."""
    of_gaps = {report["bridge"]["words"] for report in reports if "bridge" in report}
    for warning in dict.fromkeys(each for report in reports for each in report["warnings"]):
        if warning not in of_gaps:
            note(warning, quiet=quiet)


@contextmanager
def showing_progress(*, quiet: bool) -> Iterator[Progress]:
    """Yield a progress that draws a bar with the time left on stderr, if that is a terminal."""
    if quiet or sys.stderr is None or not sys.stderr.isatty():
        from stacker.engine.progress import Silent

        yield Silent()
        return
    from stacker.cli.bar import Bar

    with Bar() as bar:
        yield bar
