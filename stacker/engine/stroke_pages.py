"""The passes of a lamp as pages of one TIFF, for work by hand in a program with layers."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from pathlib import Path

import numpy as np

from stacker.engine.frame_light import FrameLight
from stacker.engine.holding import as_they_lie
from stacker.engine.progress import Progress, Silent
from stacker.engine.strokes import Painted, unlit_scene
from stacker.errors import OptionError
from stacker.finish import Tone, check_target, save_pages
from stacker.light.encoding import LightArray


def check_pages(target: Path, *, overwrite: bool, sources: Collection[Path] = ()) -> None:
    """Refuse a name under which no pages can be written."""
    if target.suffix.lower() not in (".tif", ".tiff"):
        raise OptionError(
            f"--pass-pages {target}",
            "only a TIFF has pages",
            remedy="give it a name that ends in .tif",
            code="option-value",
        )
    check_target(target, overwrite=overwrite, sources=sources)


def write_pages(
    painted: Painted | None,
    target: Path,
    *,
    tone: Tone,
    overwrite: bool = False,
    sources: Collection[Path] = (),
    progress: Progress | None = None,
) -> int:
    """Return how many pages were written: the scene without the lamp, then each pass.

    A page is the lighten of the pass's frames, 16 bits; lightened upon each other the pages are
    the picture, but for bridged gaps. One page is held at a time.

    Raises
    ------
    OptionError
        There is no pass.
    OutputError
        The file cannot be written there.
    """
    if painted is None or not painted.strokes:
        raise OptionError(
            "--pass-pages",
            "no pass of a lamp was found that could be a page",
            remedy="leave it out",
            code="option-pass",
        )
    progress = progress or Silent()
    burst = painted.burst

    def pages() -> Iterator[tuple[str, LightArray]]:
        if painted.unlit:
            yield "the scene without the lamp", unlit_scene(burst, painted.unlit, progress)
        progress.start("writing pages", len(painted.strokes))
        for number, places in painted.strokes:
            frames = FrameLight(burst, places, as_they_lie(burst))
            light = frames(0).copy()
            for each in range(1, len(places)):
                np.maximum(light, frames(each), out=light)
            yield f"pass {number}", light
            progress.advance()

    return save_pages(
        target,
        pages(),
        count=1 + len(painted.strokes),
        size=burst.size,
        space=burst.encoding.space,
        tone=tone,
        overwrite=overwrite,
        sources=sources,
    )
