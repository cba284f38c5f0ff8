"""``stacker move``: zoom, turn, drift and focus pull, afterwards."""

from __future__ import annotations

from typing import Annotated

import typer

from stacker.cli import options
from stacker.cli.telling import note, showing_progress, tell, telling_errors
from stacker.cli.words import memory_size, numbers
from stacker.errors import OptionError

MOVING, LEAVING = "What the lens does while the shutter is open", options.LEAVING


def move(
    burst: options.Burst,
    output: options.Output,
    zoom: Annotated[
        float,
        typer.Option(
            help="What the picture grows to, such as 1.3.",
            metavar="FACTOR",
            rich_help_panel=MOVING,
        ),
    ] = 1.0,
    turn: Annotated[
        float,
        typer.Option(
            help="How far it turns, clockwise.", metavar="DEGREES", rich_help_panel=MOVING
        ),
    ] = 0.0,
    drift: Annotated[
        str | None,
        typer.Option(
            help="How far it shifts, in pixels to the right and down.",
            metavar="X,Y",
            rich_help_panel=MOVING,
        ),
    ] = None,
    focus: Annotated[
        str | None,
        typer.Option(
            help="Radius in pixels of the disc that a lamp becomes, at the beginning and at the "
            "end; 0 is sharp. One number pulls from sharp.",
            metavar="[FROM,]TO",
            rich_help_panel=MOVING,
        ),
    ] = None,
    centre: Annotated[
        str | None,
        typer.Option(
            help="The pixel that zoom and turn leave in its place; the middle, if not given.",
            metavar="X,Y",
            rich_help_panel=MOVING,
        ),
    ] = None,
    halts: Annotated[
        int,
        typer.Option(
            help="Stand still this many times on the way, both ends included, for four fifths of "
            "the time: copies instead of streaks.",
            metavar="N",
            rich_help_panel=MOVING,
        ),
    ] = 0,
    rest: Annotated[
        float,
        typer.Option(
            help="Share of the time to stand still before anything moves, such as 0.5: the scene "
            "stays clear under its streaks.",
            metavar="SHARE",
            rich_help_panel=MOVING,
        ),
    ] = 0.0,
    exposure: options.Exposure = 0.0,
    depth: options.Depth = None,
    overwrite: options.Overwrite = False,
    memory: options.Memory = None,
    quiet: options.Quiet = False,
) -> None:
    """Move the lens over a still or a burst, as if while the shutter was open.

    A zoom burst:   stacker move quay.jpg --zoom 1.4 --rest 0.3 -o burst.tif

    Lamps as discs: stacker move lights/ --focus 0,30 --halts 2 -o discs.tif

    Light adds up in linear light over the whole path. What comes in at the border is the mirrored
    picture; a zoom inwards needs nothing from there.
    """
    with telling_errors():
        from stacker.burst import open_burst
        from stacker.engine.moving import LensMove, move_burst
        from stacker.finish import check_target, depth_of

        lens = LensMove(
            zoom=zoom,
            turn_deg=turn,
            drift_px=_pair("--drift", drift) if drift is not None else (0.0, 0.0),
            focus_px=_radii(focus),
            centre=_pair("--centre", centre) if centre is not None else None,
            halts=halts,
            rest=rest,
        )
        depth_of(output, depth)
        check_target(output, overwrite=overwrite)
        opened = open_burst(burst)
        with showing_progress(quiet=quiet) as progress:
            told = move_burst(
                opened,
                output,
                lens,
                exposure_ev=exposure,
                depth=depth,
                memory=memory_size(memory),
                overwrite=overwrite,
                progress=progress,
            )
        for warning in told["warnings"]:
            note(warning, quiet=quiet)
        frames = told["frames_used"]
        width, height = opened.size
        tell(
            f"{output}: the lens moved over {frames} frame{'s' if frames != 1 else ''}, by up to "
            f"{told['farthest_px']:.0f} pixels, {width} x {height} pixels"
        )


def _pair(option: str, text: str) -> tuple[float, float]:
    """Return two numbers."""
    found = numbers(option, text)
    if len(found) != 2:
        raise OptionError(
            f"{option} {text}",
            "is no pair of numbers",
            remedy="give X,Y in pixels, such as 40,0",
            code="option-value",
        )
    return found[0], found[1]


def _radii(text: str | None) -> tuple[float, float]:
    """Return from which radius to which the focus goes."""
    if text is None:
        return 0.0, 0.0
    return _pair("--focus", text if "," in text else f"0,{text}")
