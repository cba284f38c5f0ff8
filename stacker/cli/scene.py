"""``stacker scene``: a simulated burst with its truth."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stacker.cli.telling import showing_progress, tell, telling_errors
from stacker.cli.words import seconds, spoken
from stacker.errors import OptionError


def _scenes_with(incomplete: str) -> list[tuple[str, str]]:
    """Return the scenes that begin like this, with their titles, for the shell."""
    from stacker.scenes import SCENES

    return [(s.name, s.title) for s in SCENES.values() if s.name.startswith(incomplete)]


def scene(
    name: Annotated[
        str,
        typer.Argument(
            help="harbour, road, lighthouse, quay, stars, fireworks or dusk.",
            autocompletion=_scenes_with,
        ),
    ],
    folder: Annotated[Path, typer.Argument(help="Where to put the frames; made if needed.")],
    frames: Annotated[
        int | None, typer.Option(help="How many; the scene's own number if not given.", metavar="N")
    ] = None,
    size: Annotated[str, typer.Option(help="In pixels.", metavar="WIDTHxHEIGHT")] = "960x640",
    seed: Annotated[
        int, typer.Option(help="The same number gives the same burst.", metavar="N")
    ] = 1,
    shutter: Annotated[
        float | None,
        typer.Option(
            "--frame-shutter",
            "--shutter",
            help="How long each frame is open; as the scene likes it if not given.",
            metavar="SECONDS",
            parser=seconds,
        ),
    ] = None,
    interval: Annotated[
        float | None,
        typer.Option(help="From one frame's start to the next.", metavar="SECONDS", parser=seconds),
    ] = None,
    tremor: Annotated[
        float, typer.Option(help="How far a hand moves the camera.", metavar="PIXELS")
    ] = 0.0,
    file_format: Annotated[
        str,
        typer.Option("--format", help="jpg is 8 bit, png and tif are 16.", metavar="jpg|png|tif"),
    ] = "jpg",
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace frames that are there.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No progress.")] = False,
) -> None:
    """Render a burst of a scene at Kestrel Point, with the truth beside it.

    The frames carry a camera's times. The folder truth/ holds the perfect exposure to compare with.

    Example: stacker scene road night-road/ --frames 40 --size 1500x1000
    """
    with telling_errors():
        from stacker.engine.passes import worker_count
        from stacker.scenes import render_scene

        with showing_progress(quiet=quiet) as progress:
            begun = False

            def on_frame(done: int, total: int) -> None:
                nonlocal begun
                if not begun:
                    progress.start(f"rendering {name}", total)
                    begun = True
                progress.advance()

            rendered = render_scene(
                name,
                folder,
                frames=frames,
                size=_size(size),
                seed=seed,
                shutter_s=shutter,
                interval_s=interval,
                tremor_px=tremor,
                file_format=file_format,
                workers=worker_count(None),
                overwrite=overwrite,
                on_frame=on_frame,
            )
        tell(
            f"{folder}: {len(rendered.frame_paths)} x {name}, {spoken(rendered.shutter_s)} "
            f"every {spoken(rendered.interval_s)}; the truth is in {folder / 'truth'}"
        )


def _size(text: str) -> tuple[int, int]:
    try:
        width, height = (int(part) for part in text.lower().split("x"))
    except ValueError as error:
        raise OptionError(
            f"--size {text}", "is no size", remedy="give one such as 960x640", code="option-size"
        ) from error
    return width, height
