"""``stacker ladder``: one burst at a ladder of shutter times, as a labelled sheet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stacker.cli import night, options
from stacker.cli.choices import said
from stacker.cli.options import ADDING, LEAVING, SPAN
from stacker.cli.subject import Subject
from stacker.cli.telling import note, showing_progress, tell, telling_errors, telling_of
from stacker.cli.words import seconds
from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker.engine import Settings

Sheet = Annotated[
    Path,
    typer.Option("-o", "--output", help="The sheet to write: .jpg, .png or .tif.", metavar="FILE"),
]
Shutters = Annotated[
    str | None,
    typer.Option(
        help="Open times, such as 1/4,1,4,30; 1, 2, 4, 8 frames and so on, if not given.",
        metavar="LIST",
        rich_help_panel=SPAN,
    ),
]
Blend = Annotated[
    list[str],
    typer.Option(
        help="mean, lighten, max, median, darken, sum or trimmed; one of them.",
        metavar="NAME",
        rich_help_panel=ADDING,
        autocompletion=options.blends_with,
    ),
]
Files = Annotated[
    Path | None,
    typer.Option(
        help="Write each rung as a picture of its own too: water.tif becomes water-08-4s.tif (8 "
        "frames, 4 s) and so on.",
        metavar="FILE",
        rich_help_panel=LEAVING,
    ),
]


def ladder(
    context: typer.Context,
    burst: options.Burst,
    output: Sheet,
    first: options.First = None,
    last: options.Last = None,
    shutters: Shutters = None,
    without: options.Without = None,
    on_bad: options.OnBad = "stop",
    hold: options.Hold = None,
    reference: options.Reference = None,
    box: options.Box = None,
    crop: options.Crop = None,
    subject: Subject = None,
    blend: Blend = ["mean"],  # noqa: B006 - typer reads it as a constant
    trim: options.Trim = None,
    even: options.Even = "off",
    bridge: options.Bridge = None,
    dark: night.Dark = [],  # noqa: B006
    flat: night.Flat = [],  # noqa: B006
    bias: night.Bias = [],  # noqa: B006
    hot_pixels: night.HotPixels = "auto",
    highlights: night.Highlights = "clip",
    half: night.Half = False,
    exposure: options.Exposure = 0.0,
    shoulder: options.Shoulder = False,
    depth: options.Depth = None,
    space: options.Space = None,
    keep_location: options.KeepLocation = False,
    files: Files = None,
    overwrite: options.Overwrite = False,
    strict: options.Strict = False,
    report: options.Report = None,
    interval: options.Interval = None,
    frame_shutter: options.FrameShutter = None,
    memory: options.Memory = None,
    workers: options.Workers = None,
    quiet: options.Quiet = False,
) -> None:
    """Show one burst at a ladder of shutter times, side by side on a labelled sheet.

    Each label tells how much of the moving texture is left, or how long the streaks are.

    How long for silk: stacker ladder frames/ -o ladder.jpg

    Times of my own:   stacker ladder frames/ --shutters 1/4,1,4,30 --files water.tif -o ladder.jpg
    """
    with telling_errors():
        from stacker.engine.rung_for import ladder_settings

        settings = ladder_settings(subject, said(context))
        finishing = {"exposure_ev": exposure, "shoulder": shoulder, "space": space}
        pictures = {**finishing, "depth": depth, "keep_location": keep_location}
        opening = {
            "interval_s": interval,
            "frame_shutter_s": frame_shutter,
            "strict": strict,
            "highlights": highlights,
            "half": half,
        }
        if files is None and (depth is not None or keep_location):
            note("--depth and --keep-location count only with --files", quiet=quiet)
        wanted = _times(shutters) if shutters is not None else None
        places = Places(output, files, report, overwrite, depth)
        _ladder(burst, places, settings, wanted, subject, finishing, pictures, opening, quiet=quiet)


class Places:
    """The files that are to be written."""

    def __init__(
        self,
        sheet: Path,
        files: Path | None,
        report: Path | None,
        overwrite: bool,
        depth: int | None,
    ) -> None:
        self.sheet, self.files, self.report = sheet, files, report
        self.overwrite = overwrite
        self.depth = depth

    def check(
        self, sources: frozenset[Path] = frozenset(), rungs: list[tuple[str, int]] | None = None
    ) -> None:
        """Refuse names under which nothing can be written, or that are used twice."""
        from stacker.engine.sheet import check_rung_files
        from stacker.finish import check_place, check_target, depth_of

        check_target(self.sheet, overwrite=self.overwrite, sources=sources)
        if self.files is not None:
            depth_of(self.files, self.depth)
            if rungs is not None:
                check_rung_files(self.files, rungs, overwrite=self.overwrite, sources=sources)
        if self.report is not None:
            check_place(self.report, overwrite=self.overwrite, sources=sources)
            if self.report.resolve() == self.sheet.resolve():
                raise OptionError(
                    f"--report {self.report}",
                    "is the name of the sheet too",
                    remedy="choose another name",
                    code="option-value",
                )


def _ladder(
    sources: list[str],
    places: Places,
    settings: Settings,
    shutters_s: tuple[float, ...] | None,
    subject: str | None,
    finishing: dict[str, Any],
    pictures: dict[str, Any],
    opening: dict[str, Any],
    *,
    quiet: bool,
) -> None:
    from stacker.blend import find_blend
    from stacker.burst import open_burst
    from stacker.engine import ladder_burst, save_report, save_rungs, save_sheet
    from stacker.engine.ladder import rungs_ahead
    from stacker.finish import Tone, space_named

    for name in settings.blends:
        find_blend(name)
    Tone(exposure_ev=finishing["exposure_ev"])
    if finishing["space"] is not None:
        space_named(finishing["space"])
    places.check()
    burst = open_burst(sources, **opening)
    places.check(burst.sources, rungs_ahead(burst, settings, shutters_s))
    with showing_progress(quiet=quiet) as progress:
        made = ladder_burst(
            burst, settings, shutters_s=shutters_s, subject=subject, progress=progress
        )
        used = made.rungs[0].shot.sources
        places.check(used, [(rung.label, rung.frames) for rung in made.rungs])
        progress.start("writing", 1)
        written = []
        if places.files is not None:
            written = save_rungs(made, places.files, overwrite=places.overwrite, **pictures)
        report = save_sheet(made, places.sheet, overwrite=places.overwrite, **finishing)
        progress.advance()
    if places.report is not None:
        save_report(report, places.report, overwrite=places.overwrite, sources=used)
    if shutters_s is not None and len(made.rungs) < len(shutters_s):
        note("times that come to the same frames share a rung", quiet=quiet)
    telling_of([report], quiet=quiet)
    for rung in made.rungs:
        plural = "s" if rung.frames > 1 else ""
        tell(f"{rung.label}: {rung.frames} frame{plural}, {rung.measure.words}")
    if "bridge" in report:
        tell(f"{made.rungs[-1].label}: {report['bridge']['words']}")
    tell(f"{made.rungs[made.proposed].label} suits: {made.why}")
    if written:
        tell(f"{written[0]} to {written[-1].name}: each rung as a picture of its own")
    tell(f"{places.sheet}: {len(made.rungs)} exposures side by side")


def _times(text: str) -> tuple[float, ...]:
    return tuple(seconds(word.strip()) for word in text.split(","))
