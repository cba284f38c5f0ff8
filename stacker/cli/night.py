"""The options of ``stacker expose`` for nights: what a camera adds by itself, and what passes."""

from __future__ import annotations

from typing import Annotated

import typer

NIGHT = "Night"
FRAMES = "FRAMES"

Dark = Annotated[
    list[str],
    typer.Option(
        "--dark",
        help="Darks (lens cap on; same shutter, ISO and temperature): a folder, a pattern in "
        "quotes, or a master. Subtracted from every frame.",
        metavar=FRAMES,
        rich_help_panel=NIGHT,
    ),
]
Flat = Annotated[
    list[str],
    typer.Option(
        "--flat",
        help="Flats (something even and bright, same lens and aperture): vignetting and dust "
        "are divided out.",
        metavar=FRAMES,
        rich_help_panel=NIGHT,
    ),
]
Bias = Annotated[
    list[str],
    typer.Option(
        "--bias",
        help="Bias frames (lens cap on, shortest shutter): for flats, and for darks of another "
        "shutter than the frames', which are then scaled.",
        metavar=FRAMES,
        rich_help_panel=NIGHT,
    ),
]
HotPixels = Annotated[
    str,
    typer.Option(
        "--hot-pixels",
        help="auto mends those that darks and flats show; mend looks for them in the burst too; "
        "keep leaves them.",
        metavar="auto|mend|keep",
        rich_help_panel=NIGHT,
        autocompletion=lambda: ["auto", "mend", "keep"],
    ),
]
Highlights = Annotated[
    str,
    typer.Option(
        "--highlights",
        help="Of raw frames: clip makes white of what is burnt out in any colour; blend keeps "
        "what the others tell, in a darker picture.",
        metavar="clip|blend",
        rich_help_panel=NIGHT,
        autocompletion=lambda: ["clip", "blend"],
    ),
]
Half = Annotated[
    bool,
    typer.Option(
        "--half",
        help="Raw frames at half their size and several times faster, for a quick look.",
        rich_help_panel=NIGHT,
    ),
]
KeepPlanes = Annotated[
    bool,
    typer.Option(
        "--keep-planes/--no-planes",
        help="Of star trails: keep the streaks of planes and satellites, or take them out. "
        "Meteors stay.",
        show_default=False,
        rich_help_panel=NIGHT,
    ),
]
Glow = Annotated[
    str,
    typer.Option(
        help="The gradient of light in a night sky, as of towns and the moon: out makes the sky as "
        "dark everywhere as where it is darkest, keep leaves it.",
        metavar="keep|out",
        rich_help_panel=NIGHT,
        autocompletion=lambda: ["keep", "out"],
    ),
]
