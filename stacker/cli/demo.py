"""``stacker demo``: the main job on nothing but itself."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stacker.cli.telling import showing_progress, tell, telling_errors
from stacker.cli.words import spoken

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

    Takes about half a minute. Every picture is compared with the perfect exposure of its scene.

    Example: stacker demo kestrel-point
    """
    with telling_errors():
        from stacker.demo import make_demo

        with showing_progress(quiet=quiet) as progress:
            results = list(make_demo(folder, overwrite=overwrite, progress=progress))
        for result in results:
            picture = result.picture
            tell(
                f"{result.path}: {picture.title}, {picture.blend} of {result.frames} frames "
                f"(open for {spoken(result.open_s)}); likeness to the truth (PSNR) "
                f"{result.psnr_db:.1f} dB, of one frame alone {result.frame_psnr_db:.1f} dB"
            )
        tell(
            "Likeness: higher is nearer; from about 40 dB on it takes flipping to see a difference."
        )
        tell("The notches in trails are the gaps between frames: --bridge fills them.")
        tell(CAUTION)
        tell("The bursts lie beside them. Try:")
        tell(f"  stacker expose {folder / 'road'} --blend max -o {folder / 'road-max.tif'}")
