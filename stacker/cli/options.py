"""What can be said to ``stacker expose``: one alias per option, in the order of its help."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from stacker.cli.words import seconds

SPAN, HOLDING, ADDING, REGIONS, LEAVING, CLOCK, RUNNING = (
    "Which frames",
    "What is held still",
    "How frames add up",
    "Parts of the picture",
    "Brightness and files",
    "When the camera's clock is missing or wrong",
    "How it runs",
)


def blends_with(incomplete: str) -> list[tuple[str, str]]:
    """Return the blends that begin like this, with a word on each, for the shell."""
    from stacker.blend import BLENDS

    return [(b.name, b.summary) for b in BLENDS.values() if b.name.startswith(incomplete)]


Burst = Annotated[
    list[str],
    typer.Argument(help="A folder, files, a pattern in quotes, or a clip.", metavar="BURST..."),
]
Output = Annotated[
    Path,
    typer.Option(
        "-o",
        "--output",
        help="The picture to write: .tif or .png (16 bit) or .jpg.",
        metavar="FILE",
    ),
]
PictureIfAny = Annotated[
    Path | None,
    typer.Option(
        "-o",
        "--output",
        help="The picture to write: .tif or .png (16 bit) or .jpg. Needed but for lists.",
        metavar="FILE",
        show_default=False,
    ),
]
First = Annotated[
    int | None,
    typer.Option(help="The first frame to use, counted from 1.", metavar="N", rich_help_panel=SPAN),
]
Last = Annotated[
    int | None,
    typer.Option(help="The last frame to use.", metavar="N", rich_help_panel=SPAN),
]
Shutter = Annotated[
    float | None,
    typer.Option(
        help="Open time to build, from --first on, as near as whole frames come.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=SPAN,
    ),
]
Without = Annotated[
    str | None,
    typer.Option(
        help="Frames to leave out, such as 13,17-19.", metavar="LIST", rich_help_panel=SPAN
    ),
]
OnBad = Annotated[
    str,
    typer.Option(
        help="A frame that cannot be read or does not fit: stop, or skip it.",
        metavar="stop|skip",
        rich_help_panel=SPAN,
        autocompletion=lambda: ["stop", "skip"],
    ),
]
Blend = Annotated[
    list[str],
    typer.Option(
        help="mean, lighten, lights, max, median, darken, sum, trimmed or poses. Several, with "
        "commas, are made in one reading of the files and written as OUT-mean, OUT-lighten and so "
        "on.",
        metavar="NAME",
        rich_help_panel=ADDING,
        autocompletion=blends_with,
    ),
]
KeepBursts = Annotated[
    str | None,
    typer.Option(
        help="Of fireworks: how many bursts make the picture, those that fill the sky with the "
        "least that is burnt out; auto for as many as gain something.",
        metavar="N|auto",
        rich_help_panel=SPAN,
    ),
]
RampIn = Annotated[
    float,
    typer.Option(
        help="Time over which the shutter opens: streaks begin softly.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=ADDING,
    ),
]
RampOut = Annotated[
    float,
    typer.Option(
        help="Time over which the shutter closes: streaks end softly.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=ADDING,
    ),
]
Weights = Annotated[
    str | None,
    typer.Option(
        help="How much each frame counts: one number per frame used, such as 1,1,0.5,0. For poses: "
        "how visible each frame's are, from 0 to 1.",
        metavar="LIST",
        rich_help_panel=ADDING,
    ),
]
Trim = Annotated[
    str | None,
    typer.Option(
        help="For trimmed: how far below and above the middle a value may lie, in standard "
        "deviations (3,3 if not given).",
        metavar="LOW,HIGH",
        rich_help_panel=ADDING,
    ),
]
Floor = Annotated[
    str,
    typer.Option(
        help="For lighten: true keeps the dark sky as dark and clean as the mean, and the "
        "brightest value only where it stands clear of the noise; for nights.",
        metavar="plain|true",
        rich_help_panel=ADDING,
        autocompletion=lambda: ["plain", "true"],
    ),
]
Tail = Annotated[
    float | None,
    typer.Option(
        help="For lighten: time over which light fades to nothing, so that streaks get tails.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=ADDING,
    ),
]
TailTo = Annotated[
    str,
    typer.Option(
        help="Where tails point: to the start of the streaks, the end, or both.",
        metavar="start|end|both",
        rich_help_panel=ADDING,
        autocompletion=lambda: ["start", "end", "both"],
    ),
]
Even = Annotated[
    str,
    typer.Option(
        help="Even the frames' light: off leaves it, auto takes out flicker and keeps slow changes "
        "such as dusk, level takes out both; sky or ground takes flicker out of that part alone.",
        metavar="HOW",
        rich_help_panel=ADDING,
        autocompletion=lambda: ["off", "auto", "level", "sky", "ground"],
    ),
]
Hold = Annotated[
    str | None,
    typer.Option(
        help="scene brings every frame to where one of them looked, if the burst needs it, and "
        "leaves out those that cannot be; sky holds the stars, subject what is in the --box; "
        "still uses every frame as it lies. If not given, frames are brought together only if the "
        "camera moved, and those that are bumped, blurred, black or covered are left out.",
        metavar="still|scene|sky|subject",
        rich_help_panel=HOLDING,
        autocompletion=lambda: ["still", "scene", "sky", "subject"],
    ),
]
Box = Annotated[
    str | None,
    typer.Option(
        help="For --hold subject: where it is in the first frame used, in pixels.",
        metavar="X,Y,W,H",
        rich_help_panel=HOLDING,
    ),
]
Reference = Annotated[
    str | None,
    typer.Option(
        help="The frame that the others are brought to, by name or number; a sharp one near the "
        "middle, if not given.",
        metavar="NAME",
        rich_help_panel=HOLDING,
    ),
]
Crop = Annotated[
    str | None,
    typer.Option(
        help="Of frames that moved: common keeps what all of them saw (usual but for subject), "
        "full all that the reference saw.",
        metavar="common|full",
        rich_help_panel=HOLDING,
        autocompletion=lambda: ["common", "full"],
    ),
]
Bridge = Annotated[
    bool | None,
    typer.Option(
        "--bridge/--no-bridge",
        help="Fill the gaps between frames with the light that fell meanwhile: trails become "
        "whole, water flows.",
        show_default=False,
        rich_help_panel=ADDING,
    ),
]
BridgeMap = Annotated[
    Path | None,
    typer.Option(
        help="Write where the bridge put light, and how sure it is, as a grey picture: .png or "
        ".tif.",
        metavar="FILE",
        rich_help_panel=LEAVING,
    ),
]
DoubtMap = Annotated[
    Path | None,
    typer.Option(
        help="Of a median: write how many of the frames agree with it, as a grey picture: .png or "
        ".tif. Dark is where somebody may be left.",
        metavar="FILE",
        rich_help_panel=LEAVING,
    ),
]
Exposure = Annotated[
    float,
    typer.Option(
        help="Stops by which to brighten the result.",
        metavar="STOPS",
        rich_help_panel=LEAVING,
    ),
]
Shoulder = Annotated[
    bool,
    typer.Option(
        "--shoulder",
        help="Bend highlights so that light beyond white keeps its shades, as after a sum.",
        rich_help_panel=LEAVING,
    ),
]
Warmth = Annotated[
    float | None,
    typer.Option(
        help="White balance in mired, -100 (colder) to 100 (warmer); 20 is a light filter.",
        metavar="N",
        rich_help_panel=LEAVING,
    ),
]
Gains = Annotated[
    str | None,
    typer.Option(
        help="White balance by factors of red, green and blue light, such as 1.1,1,0.8.",
        metavar="R,G,B",
        rich_help_panel=LEAVING,
    ),
]
Neutral = Annotated[
    str | None,
    typer.Option(
        help="White balance by a spot of the result that shall come out grey: its pixel, "
        "counted from 0 at the upper left.",
        metavar="X,Y",
        rich_help_panel=LEAVING,
    ),
]
Depth = Annotated[
    int | None,
    typer.Option(
        help="32 makes a .tif of linear light in floating point.",
        metavar="BITS",
        rich_help_panel=LEAVING,
    ),
]
Space = Annotated[
    str | None,
    typer.Option(
        help="Colour space of the file: srgb, display-p3, adobe-rgb or rec2020; the burst's "
        "own if not given.",
        metavar="NAME",
        rich_help_panel=LEAVING,
        autocompletion=lambda: ["srgb", "display-p3", "adobe-rgb", "rec2020"],
    ),
]
KeepLocation = Annotated[
    bool,
    typer.Option(
        "--keep-location",
        help="Keep the place and the owner's name that the first frame carries.",
        rich_help_panel=LEAVING,
    ),
]
Overwrite = Annotated[
    bool,
    typer.Option(
        "--overwrite",
        help="Replace files that are there; never the frames.",
        rich_help_panel=LEAVING,
    ),
]
Strict = Annotated[
    bool,
    typer.Option(
        "--strict",
        help="Guess nothing about colour: refuse frames whose profile cannot be used, or "
        "differs from the first one's.",
        rich_help_panel=LEAVING,
    ),
]
SettingsFile = Annotated[
    Path | None,
    typer.Option(
        "--settings",
        help="Take what is not given here from a file that the page saved (.stacker.json).",
        metavar="FILE",
        rich_help_panel=RUNNING,
    ),
]
Preview = Annotated[
    bool,
    typer.Option(
        "--preview",
        help="A quick look: from frames reduced to at most 1500 pixels a side.",
        rich_help_panel=RUNNING,
    ),
]
Report = Annotated[
    Path | None,
    typer.Option(
        help="Write everything that was found and done: as JSON, or with .html as a page to look "
        "at, with a critique.",
        metavar="FILE",
        rich_help_panel=LEAVING,
    ),
]
Interval = Annotated[
    float | None,
    typer.Option(
        help="From one frame's start to the next.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=CLOCK,
    ),
]
FrameShutter = Annotated[
    float | None,
    typer.Option(
        help="How long each frame was open.",
        metavar="SECONDS",
        parser=seconds,
        rich_help_panel=CLOCK,
    ),
]
Memory = Annotated[
    str | None,
    typer.Option(
        help="Memory to keep within, such as 2GB; half of what is free, if not given.",
        metavar="SIZE",
        rich_help_panel=RUNNING,
    ),
]
Workers = Annotated[
    int | None,
    typer.Option(
        help="Frames worked on at once; one per processor, if not given.",
        metavar="N",
        rich_help_panel=RUNNING,
    ),
]
Quiet = Annotated[
    bool,
    typer.Option("--quiet", "-q", help="No progress, no notes.", rich_help_panel=RUNNING),
]
