"""``stacker expose``: from a burst to a finished picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stacker.cli import night
from stacker.cli.telling import note, showing_progress, tell, telling_errors
from stacker.cli.words import frame_numbers, numbers, one_or_two, seconds, spoken
from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker.engine import Settings, Shot

SPAN, ADDING, LEAVING, CLOCK, RUNNING = (
    "Which frames",
    "How frames add up",
    "Brightness and files",
    "When the camera's clock is missing or wrong",
    "How it runs",
)


def _blends_with(incomplete: str) -> list[tuple[str, str]]:
    """Return the blends that begin like this, with a word on each, for the shell."""
    from stacker.blend import BLENDS

    return [(b.name, b.summary) for b in BLENDS.values() if b.name.startswith(incomplete)]


def expose(
    burst: Annotated[
        list[str],
        typer.Argument(help="A folder, files, a pattern in quotes, or a clip.", metavar="BURST..."),
    ],
    output: Annotated[
        Path,
        typer.Option(
            "-o",
            "--output",
            help="The picture to write: .tif or .png (16 bit) or .jpg.",
            metavar="FILE",
        ),
    ],
    first: Annotated[
        int | None,
        typer.Option(
            help="The first frame to use, counted from 1.", metavar="N", rich_help_panel=SPAN
        ),
    ] = None,
    last: Annotated[
        int | None,
        typer.Option(help="The last frame to use.", metavar="N", rich_help_panel=SPAN),
    ] = None,
    shutter: Annotated[
        float | None,
        typer.Option(
            help="Open time to build, from --first on, as near as whole frames come.",
            metavar="SECONDS",
            parser=seconds,
            rich_help_panel=SPAN,
        ),
    ] = None,
    without: Annotated[
        str | None,
        typer.Option(
            help="Frames to leave out, such as 13,17-19.", metavar="LIST", rich_help_panel=SPAN
        ),
    ] = None,
    on_bad: Annotated[
        str,
        typer.Option(
            help="A frame that cannot be read or does not fit: stop, or skip it.",
            metavar="stop|skip",
            rich_help_panel=SPAN,
            autocompletion=lambda: ["stop", "skip"],
        ),
    ] = "stop",
    blend: Annotated[
        list[str],
        typer.Option(
            help="mean, lighten, max, median, darken, sum or trimmed. Several, with commas, are "
            "made in one reading of the files and written as OUT-mean, OUT-lighten and so on.",
            metavar="NAME",
            rich_help_panel=ADDING,
            autocompletion=_blends_with,
        ),
    ] = ["mean"],  # noqa: B006 - typer reads it as a constant
    ramp_in: Annotated[
        float,
        typer.Option(
            help="Time over which the shutter opens: streaks begin softly.",
            metavar="SECONDS",
            parser=seconds,
            rich_help_panel=ADDING,
        ),
    ] = 0.0,
    ramp_out: Annotated[
        float,
        typer.Option(
            help="Time over which the shutter closes: streaks end softly.",
            metavar="SECONDS",
            parser=seconds,
            rich_help_panel=ADDING,
        ),
    ] = 0.0,
    weights: Annotated[
        str | None,
        typer.Option(
            help="How much each frame counts: one number per frame used, such as 1,1,0.5,0.",
            metavar="LIST",
            rich_help_panel=ADDING,
        ),
    ] = None,
    trim: Annotated[
        str | None,
        typer.Option(
            help="For trimmed: how far below and above the middle a value may lie, in standard "
            "deviations (3,3 if not given).",
            metavar="LOW,HIGH",
            rich_help_panel=ADDING,
        ),
    ] = None,
    hold: Annotated[str, typer.Option(hidden=True)] = "still",
    bridge: Annotated[bool, typer.Option("--bridge/--no-bridge", hidden=True)] = False,
    dark: night.Dark = [],  # noqa: B006 - typer reads it as a constant
    flat: night.Flat = [],  # noqa: B006
    bias: night.Bias = [],  # noqa: B006
    hot_pixels: night.HotPixels = "auto",
    highlights: night.Highlights = "clip",
    exposure: Annotated[
        float,
        typer.Option(
            help="Stops by which to brighten the result.",
            metavar="STOPS",
            rich_help_panel=LEAVING,
        ),
    ] = 0.0,
    shoulder: Annotated[
        bool,
        typer.Option(
            "--shoulder",
            help="Bend highlights so that light beyond white keeps its shades, as after a sum.",
            rich_help_panel=LEAVING,
        ),
    ] = False,
    depth: Annotated[
        int | None,
        typer.Option(
            help="32 makes a .tif of linear light in floating point.",
            metavar="BITS",
            rich_help_panel=LEAVING,
        ),
    ] = None,
    keep_location: Annotated[
        bool,
        typer.Option(
            "--keep-location",
            help="Keep the place and the owner's name that the first frame carries.",
            rich_help_panel=LEAVING,
        ),
    ] = False,
    overwrite: Annotated[
        bool,
        typer.Option(
            "--overwrite",
            help="Replace files that are there; never the frames.",
            rich_help_panel=LEAVING,
        ),
    ] = False,
    report: Annotated[
        Path | None,
        typer.Option(
            help="Write everything that was found and done as JSON.",
            metavar="FILE",
            rich_help_panel=LEAVING,
        ),
    ] = None,
    interval: Annotated[
        float | None,
        typer.Option(
            help="From one frame's start to the next.",
            metavar="SECONDS",
            parser=seconds,
            rich_help_panel=CLOCK,
        ),
    ] = None,
    frame_shutter: Annotated[
        float | None,
        typer.Option(
            help="How long each frame was open.",
            metavar="SECONDS",
            parser=seconds,
            rich_help_panel=CLOCK,
        ),
    ] = None,
    memory: Annotated[
        str | None,
        typer.Option(
            help="Memory to keep within, such as 2GB; half of what is free, if not given.",
            metavar="SIZE",
            rich_help_panel=RUNNING,
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            help="Frames worked on at once; one per processor, if not given.",
            metavar="N",
            rich_help_panel=RUNNING,
        ),
    ] = None,
    quiet: Annotated[
        bool,
        typer.Option("--quiet", "-q", help="No progress, no notes.", rich_help_panel=RUNNING),
    ] = False,
) -> None:
    """Make a long exposure from a burst of short frames.

    Water like silk:  stacker expose frames/ -o water.tif

    Trails of light:  stacker expose frames/ --blend lighten -o trails.tif

    An empty square:  stacker expose "IMG_*.JPG" --blend median -o square.jpg

    A clip, 2 s long: stacker expose surf.mp4 --first 50 --shutter 2 -o surf.png
    """
    with telling_errors():
        from stacker.engine.settings import Settings, refuse_unbuilt

        refuse_unbuilt(bridge=bridge)
        settings = Settings(
            blends=_names(blend),
            hold=hold,  # type: ignore[arg-type]  # checked by the settings themselves
            first=first,
            last=last,
            without=frame_numbers("--without", without) if without is not None else (),
            shutter_s=shutter,
            ramp_in_s=ramp_in,
            ramp_out_s=ramp_out,
            weights=numbers("--weights", weights) if weights is not None else None,
            trim=one_or_two("--trim", trim) if trim is not None else Settings.trim,
            darks=tuple(dark),
            flats=tuple(flat),
            biases=tuple(bias),
            hot_pixels=hot_pixels,  # type: ignore[arg-type]  # checked by the settings themselves
            on_bad=on_bad,  # type: ignore[arg-type]  # checked by the settings themselves
            memory=_memory(memory),
            workers=workers,
        )
        if trim is not None and "trimmed" not in settings.blends:
            note("--trim counts only with --blend trimmed", quiet=quiet)
        finishing = {
            "depth": depth,
            "exposure_ev": exposure,
            "shoulder": shoulder,
            "keep_location": keep_location,
            "overwrite": overwrite,
        }
        opening = {
            "interval_s": interval,
            "frame_shutter_s": frame_shutter,
            "highlights": highlights,
        }
        _expose(burst, output, settings, finishing, opening, report, quiet=quiet)


def _expose(
    sources: list[str],
    output: Path,
    settings: Settings,
    finishing: dict[str, Any],
    opening: dict[str, Any],
    report: Path | None,
    *,
    quiet: bool,
) -> None:
    from stacker.blend import find_blend
    from stacker.burst import open_burst
    from stacker.engine import expose_burst, save, save_report
    from stacker.finish import Tone, check_place, check_target, depth_of

    for name in settings.blends:
        find_blend(name)
    Tone(exposure_ev=finishing["exposure_ev"])
    targets = _targets(output, settings.blends)
    overwrite = finishing["overwrite"]
    for target in targets.values():
        depth_of(target, finishing["depth"])
        check_target(target, overwrite=overwrite)
    if report is not None:
        check_place(report, overwrite=overwrite)
        _check_names(report, targets)
    burst = open_burst(sources, **opening)
    if opening["highlights"] != "clip" and burst.development is None:
        note("--highlights counts only for raw frames", quiet=quiet)
    for target in targets.values():
        check_target(target, overwrite=overwrite, sources=burst.sources)
    if report is not None:
        check_place(report, overwrite=overwrite, sources=burst.sources)
    with showing_progress(quiet=quiet) as progress:
        shots = expose_burst(burst, settings, progress=progress)
        progress.start("writing", len(shots))
        reports = []
        for name, shot in shots.items():
            reports.append(save(shot, targets[name], **finishing))
            progress.advance()
    if report is not None:
        whole = reports[0] if len(reports) == 1 else reports
        save_report(whole, report, overwrite=overwrite, sources=burst.sources)
    if "sum" in shots and finishing["exposure_ev"] >= 0 and not finishing["shoulder"]:
        note("a sum is soon beyond white: --shoulder or --exposure -3 keep its shades", quiet=quiet)
    for warning in dict.fromkeys(w for each in reports for w in each["warnings"]):
        note(warning, quiet=quiet)
    for name, shot in shots.items():
        tell(_summary(name, targets[name], shot))


def _summary(blend: str, target: Path, shot: Shot) -> str:
    frames = shot.report["frames_used"]
    width, height = shot.size
    words = f"{target}: {blend} of {frames} frame{'s' if frames != 1 else ''}"
    if shot.open_s:
        words += f", open for {spoken(shot.open_s)}"
        if shot.report["elapsed_s"] and frames > 1:
            words += f" in all, over {spoken(shot.report['elapsed_s'])}"
    return f"{words}, {width} x {height} pixels"


def _targets(output: Path, blends: tuple[str, ...]) -> dict[str, Path]:
    """Return where each blend's picture goes: the name itself where there is only one."""
    if len(blends) == 1:
        return {blends[0]: output}
    return {name: output.with_name(f"{output.stem}-{name}{output.suffix}") for name in blends}


def _check_names(report: Path, targets: dict[str, Path]) -> None:
    if report.resolve() in [target.resolve() for target in targets.values()]:
        raise OptionError(
            f"--report {report}",
            "is the name of the picture too",
            remedy="choose another name, such as one ending in .json",
            code="option-value",
        )


def _names(blends: list[str]) -> tuple[str, ...]:
    names = [name.strip() for words in blends for name in words.split(",") if name.strip()]
    return tuple(dict.fromkeys(names))


def _memory(text: str | None) -> int | None:
    if text is None:
        return None
    from stacker.engine.memory import parse_size

    return parse_size(text)
