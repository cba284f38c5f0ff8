"""``stacker survey``: what is in a burst, before it is exposed."""

from __future__ import annotations

import json
import re
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from stacker.cli import options
from stacker.cli.survey_table import table
from stacker.cli.telling import showing_progress, tell, telling_errors
from stacker.cli.words import spoken
from stacker.wording import spoken_share

if TYPE_CHECKING:
    from stacker.survey.records import Survey

WIDTH = 100
NO_BREAK = "\N{NO-BREAK SPACE}"
# a number stays with its unit
TOGETHER = re.compile(r"(?<=\d) (?=(?:%|px|s|stops?|degrees)\b|%)")
# pixels a second below which nobody calls it speed
LEAST_SPEED = 0.5
# how subjects are said in a sentence, where the name alone is not enough
SUBJECTS = {
    "water": "water in motion",
    "clouds": "clouds that drift",
    "star-trails": "a sky of stars that turns",
    "light-painting": "light painting",
    "crowd": "a place where people come and go",
    "pan": "a pan",
    "still": "a scene in which nothing moves",
}


def survey(
    burst: options.Burst,
    first: options.First = None,
    last: options.Last = None,
    every: Annotated[
        bool, typer.Option("--all", help="Show every frame of a long burst in the table.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print everything as JSON, and nothing else.")
    ] = False,
    path: Annotated[
        Path | None,
        typer.Option(
            "--path", help="Draw the camera's way as a plot, .svg or .png.", metavar="FILE"
        ),
    ] = None,
    overwrite: Annotated[
        bool, typer.Option("--overwrite", help="Replace a plot that is there.")
    ] = False,
    interval: options.Interval = None,
    frame_shutter: options.FrameShutter = None,
    memory: options.Memory = None,
    workers: options.Workers = None,
    quiet: options.Quiet = False,
) -> None:
    """Look at a burst before exposing it: rhythm, shake, light, odd frames, and what suits it.

    Example: stacker survey frames/

    For a program: stacker survey frames/ --json > survey.json
    """
    with telling_errors():
        import stacker
        from stacker.engine.memory import parse_size
        from stacker.engine.survey_plot import check_plot, save_plot

        if path is not None:
            check_plot(path, overwrite=overwrite)
        opened = stacker.open_burst(burst, interval_s=interval, frame_shutter_s=frame_shutter)
        if path is not None:
            check_plot(path, overwrite=overwrite, sources=opened.sources)
        with showing_progress(quiet=quiet) as progress:
            found = stacker.survey(
                opened,
                first=first,
                last=last,
                memory=None if memory is None else parse_size(memory),
                workers=workers,
                progress=progress,
            )
        if path is not None:
            save_plot(found, path, overwrite=overwrite, sources=opened.sources)
        named = [*burst, *_typed(first, last, interval, frame_shutter)]
        if as_json:
            tell(json.dumps(found.to_json(named), indent=1))
            return
        for line in _lines(found, named, whole=every):
            tell(line)


def _typed(
    first: int | None, last: int | None, interval: float | None, frame_shutter: float | None
) -> list[str]:
    """Return what was said about the burst and holds for the exposure too, as it is typed."""
    given = {
        "--first": first,
        "--last": last,
        "--interval": interval,
        "--frame-shutter": frame_shutter,
    }
    return [w for name, value in given.items() if value is not None for w in (name, f"{value:g}")]


def _lines(found: Survey, named: list[str], *, whole: bool) -> list[str]:
    """Return what is printed: a sentence, the table, the findings, the command."""
    lines = [_headline(found), "", *table(found.frames, whole=whole), ""]
    for finding in found.findings:
        words = " ".join(filter(None, (finding.what, finding.cause, finding.remedy)))
        lines += _wrapped(f"{finding.severity}: {words}", indent="  ")
    if not found.findings:
        lines.append("Nothing was found that spoils the picture.")
    said = " ".join([_subject(found), *_figures(found)])
    return [*lines, "", *_wrapped(said), "", "To go on with:", f"  {found.command(named)}"]


def _wrapped(sentences: str, indent: str = "") -> list[str]:
    lines = textwrap.wrap(
        TOGETHER.sub(NO_BREAK, sentences),
        WIDTH,
        subsequent_indent=indent,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(NO_BREAK, " ") for line in lines]


def _subject(found: Survey) -> str:
    """Return what the burst seems to be of."""
    subject = found.measured["subject"]
    if subject is None:
        return "There are too few frames to tell what the burst is of."
    what = SUBJECTS.get(subject["name"], subject["name"])
    return f"This is {subject['confidence']} {what}: {'; '.join(subject['reasons'])}."


def _figures(found: Survey) -> list[str]:
    """Return sentences about what moves and about noise."""
    movement, noise = found.measured["movement"], found.measured["noise"]
    said = []
    if movement is not None and movement["moving"] > 0:
        said.append(
            f"At any moment {spoken_share(movement['moving'])} of the picture is in motion; a "
            f"median would clear {spoken_share(movement['vanishing'])} of it."
        )
        speed = movement["speed_px_per_s"]
        if (
            speed is not None
            and speed >= LEAST_SPEED
            and found.measured["subject"]["name"] not in ("traffic", "crowd")
        ):
            said.append(f"What moves goes at about {speed:.0f} px a second.")
    if noise is not None:
        about = "would be about" if noise["extrapolated"] else "is"
        said.append(
            f"The noise of one frame at mid grey {about} {100 * noise['at_mid_grey']:.2g} % of "
            f"white (signal to noise {noise['snr_mid_grey']:.0f})."
        )
    return said


def _headline(found: Survey) -> str:
    """Return the burst in one sentence."""
    rhythm, (width, height) = found.rhythm, found.size
    words = [f"{len(found.frames)} frames of {width} x {height}"]
    if rhythm.shutter_s is not None:
        words.append(f"{spoken(rhythm.shutter_s)} each")
    if rhythm.interval_s is not None:
        words.append(f"one every {spoken(rhythm.interval_s)}")
    if rhythm.open_s is not None and rhythm.elapsed_s is not None:
        words.append(f"open for {spoken(rhythm.open_s)} of {spoken(rhythm.elapsed_s)}")
    return ", ".join(words) + "."
