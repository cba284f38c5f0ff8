"""``stacker film``: a burst as a clip, its exposure building up or a shutter sliding over it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stacker.cli import night, options
from stacker.cli.choices import said
from stacker.cli.options import ADDING, LEAVING
from stacker.cli.telling import showing_progress, tell, telling_errors, telling_of
from stacker.cli.words import rate, seconds, spoken
from stacker.errors import OptionError

Clip = Annotated[
    Path,
    typer.Option("-o", "--output", help="The film to write: .mp4 or .mov.", metavar="FILE"),
]
Blend = Annotated[
    list[str],
    typer.Option(
        help="mean, lighten, max, darken or sum.",
        metavar="NAME",
        rich_help_panel=ADDING,
        autocompletion=lambda: ["mean", "lighten", "max", "darken", "sum"],
    ),
]
SlidingShutter = Annotated[
    float | None,
    typer.Option(
        "--sliding",
        help="A shutter of this open time slides over the burst, frame by frame; if not given, "
        "the exposure builds up from the first frame to the last.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=ADDING,
    ),
]
Fps = Annotated[
    float,
    typer.Option(
        help="Pictures per second, such as 24 or 30000/1001; each frame of the burst makes one.",
        metavar="N",
        parser=rate,
        rich_help_panel=LEAVING,
    ),
]
Width = Annotated[
    int | None,
    typer.Option(
        help="Width of the film in pixels, even; that of the frames, but at most 1920, if not "
        "given. Scaled in linear light.",
        metavar="PIXELS",
        rich_help_panel=LEAVING,
    ),
]


def film(
    context: typer.Context,
    burst: options.Burst,
    output: Clip,
    first: options.First = None,
    last: options.Last = None,
    shutter: options.Shutter = None,
    without: options.Without = None,
    on_bad: options.OnBad = "stop",
    hold: options.Hold = None,
    reference: options.Reference = None,
    box: options.Box = None,
    crop: options.Crop = None,
    blend: Blend = ["mean"],  # noqa: B006 - typer reads it as a constant
    sliding: SlidingShutter = None,
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
    fps: Fps = 24.0,
    width: Width = None,
    overwrite: options.Overwrite = False,
    strict: options.Strict = False,
    report: options.Report = None,
    interval: options.Interval = None,
    frame_shutter: options.FrameShutter = None,
    memory: options.Memory = None,
    workers: options.Workers = None,
    quiet: options.Quiet = False,
) -> None:
    """Make a film of a burst: the exposure building up, or a shutter sliding over a session.

    Building up:  stacker film frames/ --blend lighten -o trails.mp4

    Sliding over: stacker film frames/ --sliding 8 --width 1280 -o surf.mp4
    """
    with telling_errors():
        from stacker.burst import open_burst
        from stacker.engine import FilmChoice, film_burst, save_report
        from stacker.engine.settings import Settings
        from stacker.finish import check_place
        from stacker.finish.clip import check_clip, frame_rate

        settings = Settings(**said(context))
        choice = FilmChoice(
            fps=fps,
            width=width,
            sliding_s=sliding,
            exposure_ev=exposure,
            shoulder=shoulder,
            overwrite=overwrite,
        )
        frame_rate(fps)
        check_clip(output, overwrite=overwrite)
        if report is not None:
            check_place(report, overwrite=overwrite)
            if report.resolve() == output.resolve():
                raise OptionError(
                    f"--report {report}",
                    "is the name of the film too",
                    remedy="choose another name",
                    code="option-value",
                )
        opened = open_burst(
            burst,
            interval_s=interval,
            frame_shutter_s=frame_shutter,
            strict=strict,
            highlights=highlights,  # type: ignore[arg-type]  # checked there
            half=half,
        )
        with showing_progress(quiet=quiet) as progress:
            made = film_burst(opened, output, settings, choice, progress=progress)
        if report is not None:
            save_report(made, report, overwrite=overwrite, sources=opened.sources)
        telling_of([made], quiet=quiet)
        told = made["film"]
        under = told["frames_under_the_shutter"]
        what = f"sliding over {under} frames at a time" if under else "building up"
        tell(
            f"{output}: {settings.blends[0]} {what}, {told['pictures']} pictures, "
            f"{spoken(told['seconds'])} at {told['fps']:.5g} a second, "
            f"{told['size'][0]} x {told['size'][1]} pixels"
        )
        if "bridge" in made:
            tell(made["bridge"]["words"])
