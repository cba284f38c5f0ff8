"""``stacker serve``: the page on this machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stacker.cli.telling import note, tell, telling_errors

if TYPE_CHECKING:
    from stacker.page.serve import Place

REACH = "Who can reach it"


def serve(
    burst: Annotated[
        Path, typer.Argument(help="A folder of bursts, a burst or a clip.", metavar="[BURST]")
    ] = Path(),
    output: Annotated[
        Path,
        typer.Option(
            "-o",
            "--output",
            help="The folder for results and saved settings; the current one if not given.",
            metavar="FOLDER",
        ),
    ] = Path(),
    port: Annotated[
        int, typer.Option(help="The port to listen at; any free one with 0.", metavar="N")
    ] = 8017,
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
    host: Annotated[
        str,
        typer.Option(
            help="The address to listen at; this machine alone can reach it, if not given.",
            metavar="ADDRESS",
            rich_help_panel=REACH,
        ),
    ] = "127.0.0.1",
    allow_network: Annotated[
        bool,
        typer.Option(
            "--allow-network",
            help="Let others on the network in who have the address with its token.",
            rich_help_panel=REACH,
        ),
    ] = False,
) -> None:
    """Choose by eye: a page in the browser, served from this machine to itself.

    Drag a span of time over the frames and see its exposure; compare, keep versions, render.

    Example: stacker serve frames/
    """
    with telling_errors():
        from stacker.page.serve import Place, check_place, serve_page

        place = Place(burst, output, host, port, allow_network)
        check_place(place)
        serve_page(place, ready=lambda address: _tell(place, address, browser))


def _tell(place: Place, address: str, browser: bool) -> None:
    """Say where the page is, and open it."""
    if not place.is_private:
        note(
            f"the page can be reached from the network at {place.host}, unencrypted: whoever reads "
            "its address with the token sees the frames and can write to the output folder",
            quiet=False,
        )
    tell(f"The page is at {address}")
    if place.is_everywhere:
        tell("Others put the address of this machine in the place of its first part.")
    tell("It lets in who has this address. Ctrl-C here ends it.")
    if browser:
        import webbrowser

        webbrowser.open(address)
