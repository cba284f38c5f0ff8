"""``stacker demo``: the main job on nothing but itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stacker.cli.telling import showing_progress, tell, telling_errors

CAUTION = (
    "Before you shoot your own: keep clear of traffic, tide and fireworks, mind cliff edges and\n"
    "the sun in a finder; local rules and licensed people come first (README, Cautions)."
)


def demo(
    folder: Annotated[
        Path, typer.Argument(help="Where to put the bursts and the pictures.")
    ] = Path("kestrel-point"),
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace what an earlier demo left there.")
    ] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No progress.")] = False,
) -> None:
    """Render bursts of the harbour town of Kestrel Point and make long exposures from them.

    Takes about half a minute. Every picture is held against the truth, which a simulation
    knows: the figure is the peak signal-to-noise ratio, where 30 dB is good and 40 dB is hard
    to tell apart.

    Example:  stacker demo kestrel-point
    """
    with telling_errors():
        from stacker.demo import make_demo

        with showing_progress(quiet=quiet) as progress:
            results = list(make_demo(folder, overwrite=overwrite, progress=progress))
        for result in results:
            picture = result.picture
            tell(
                f"{result.path}: {picture.title}, {picture.blend} of {result.frames} frames "
                f"(open {result.open_s:.4g} s); {result.psnr_db:.1f} dB from the truth, "
                f"one frame alone {result.frame_psnr_db:.1f} dB"
            )
        tell(CAUTION)
        tell("The bursts lie beside them. Try:")
        tell(f"  stacker expose {folder / 'road'} --blend max -o {folder / 'road-max.tif'}")
