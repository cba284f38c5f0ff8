"""``--pass`` and ``--pass-pages`` of an exposure: the passes of a lamp told, and written."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stacker.cli.options import ADDING, LEAVING
from stacker.cli.telling import showing_progress, tell

if TYPE_CHECKING:
    from stacker.engine import Settings, Shot
    from stacker.engine.progress import Progress

Passes = Annotated[
    list[str],
    typer.Option(
        "--pass",
        help="Of light painting: what becomes of a pass of the lamp, such as 2=off, 3=0.5 or "
        "3=0.5,warm (tints: warm, cold, amber, red, green, blue); may be given several times. "
        "list tells the passes and writes nothing.",
        metavar="N=WHAT|list",
        show_default=False,
        rich_help_panel=ADDING,
    ),
]
PassPages = Annotated[
    Path | None,
    typer.Option(
        help="Write the scene without the lamp and each pass as the pages of a .tif too, to be "
        "lightened upon each other by hand.",
        metavar="FILE",
        rich_help_panel=LEAVING,
    ),
]


def tell_passes(
    sources: list[str], settings: Settings, opening: dict[str, Any], *, quiet: bool
) -> None:
    """Print what passes of a lamp are in a burst."""
    from stacker.burst import open_burst
    from stacker.engine.strokes import list_passes

    burst = open_burst(sources, **opening)
    with showing_progress(quiet=quiet) as progress:
        lines = list_passes(burst, settings, progress)
    for line in lines:
        tell(line)


def write_pass_pages(
    shots: Mapping[str, Shot],
    target: Path | None,
    finishing: dict[str, Any],
    progress: Progress,
    *,
    overwrite: bool,
) -> None:
    """Write the pages, where they are asked for."""
    if target is None:
        return
    from stacker.engine.stroke_pages import write_pages
    from stacker.finish import Tone

    shot = next(iter(shots.values()))
    write_pages(
        shot.painted,
        target,
        tone=Tone(exposure_ev=finishing["exposure_ev"], shoulder=finishing["shoulder"]),
        overwrite=overwrite,
        sources=shot.sources,
        progress=progress,
    )
