"""``stacker master``: calibration frames become one file, to be used again."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stacker.cli.telling import note, showing_progress, tell, telling_errors
from stacker.cli.words import spoken
from stacker.errors import OptionError

KINDS = ("dark", "flat", "bias")


def master(
    kind: Annotated[
        str,
        typer.Argument(
            help="dark, flat or bias.", metavar="KIND", autocompletion=lambda: list(KINDS)
        ),
    ],
    frames: Annotated[
        list[str],
        typer.Argument(help="A folder, files or a pattern in quotes.", metavar="FRAMES..."),
    ],
    output: Annotated[
        Path, typer.Option("-o", "--output", help="The master to write: .tif.", metavar="FILE")
    ],
    on_bad: Annotated[
        str,
        typer.Option(
            help="A frame that cannot be read or does not fit: stop, or skip it.",
            metavar="stop|skip",
            autocompletion=lambda: ["stop", "skip"],
        ),
    ] = "stop",
    memory: Annotated[
        str | None,
        typer.Option(
            help="Memory to keep within, such as 2GB; half of what is free, if not given.",
            metavar="SIZE",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            help="Frames worked on at once; one per processor, if not given.", metavar="N"
        ),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a file that is there; never the frames.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No progress, no notes.")] = False,
) -> None:
    """Make a master from calibration frames: their median, for --dark, --flat or --bias.

    Example: stacker master dark darks-30s/ -o dark-30s.tif
    """
    with telling_errors():
        if kind not in KINDS:
            raise OptionError(
                kind,
                "is no kind of master",
                remedy=f"there is {', '.join(KINDS)}",
                code="option-choice",
            )
        from stacker.burst import open_burst
        from stacker.engine.masters import make_master
        from stacker.engine.memory import parse_size
        from stacker.engine.settings import Settings
        from stacker.finish import check_target
        from stacker.finish.master import check_master_name, save_master
        from stacker.version import PROGRAM

        settings = Settings(
            on_bad=on_bad,  # type: ignore[arg-type]  # checked by the settings themselves
            memory=None if memory is None else parse_size(memory),
            workers=workers,
        )
        check_master_name(output)
        check_target(output, overwrite=overwrite)
        burst = open_burst(frames, upright=False)
        with showing_progress(quiet=quiet) as progress:
            made = make_master(
                kind,  # type: ignore[arg-type]  # checked above
                burst,
                on_bad=settings.on_bad,
                memory=settings.memory,
                workers=settings.workers,
                progress=progress,
            )
            save_master(output, made, software=PROGRAM, overwrite=overwrite, sources=burst.sources)
        left_out = len(burst.frames) - made.frames
        if left_out:
            note(f"{left_out} of {len(burst.frames)} frames left out", quiet=quiet)
        words = [f"{made.size[0]} x {made.size[1]} pixels"]
        words += [f"open for {spoken(made.shutter_s)}"] if made.shutter_s else []
        words += [f"ISO {made.iso:g}"] if made.iso else []
        plural = "s" if made.frames != 1 else ""
        tell(f"{output}: {kind}, median of {made.frames} frame{plural}, {', '.join(words)}")
