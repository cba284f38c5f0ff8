"""What can be said to ``stacker plan``: one alias per option, in the order of its help."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from stacker.cli import quantities
from stacker.cli.words import seconds

CAMERA, LIGHT, TIME, MOVES, SKY, CARD = (
    "Camera and lens",
    "Light",
    "How long (the rest follows from what you tell)",
    "What moves",
    "Stars, sun and moon",
    "Card and battery",
)


def _option(*names: str, help: str, metavar: str, panel: str, **more: Any) -> Any:  # noqa: A002
    return typer.Option(*names, help=help, metavar=metavar, rich_help_panel=panel, **more)


def _subjects_with(incomplete: str) -> list[tuple[str, str]]:
    """Return the subjects that begin like this, in words, for the shell."""
    from stacker.plan import SUBJECTS

    return [(s.name, s.title) for s in SUBJECTS.values() if s.name.startswith(incomplete)]


Subject = Annotated[
    str | None,
    typer.Option(
        "--for",
        help="water, clouds, traffic, star-trails, stars, fireworks, dusk, light-painting, crowd, "
        "pan, ghosts or many-of-one. Without a name, and without it, they are listed.",
        metavar="SUBJECT",
        autocompletion=_subjects_with,
    ),
]
FocalLength = Annotated[
    float | None,
    _option(
        "--focal-length",
        help="The lens's own, such as 24mm.",
        metavar="MM",
        panel=CAMERA,
        parser=quantities.focal_length,
    ),
]
Sensor = Annotated[
    str | None,
    _option(
        "--sensor",
        help='full frame, "APS-C 1.5", "APS-C 1.6", four thirds, one-inch, 44x33, '
        "phone, or a size in mm such as 23.5x15.6.",
        metavar="FORMAT",
        panel=CAMERA,
    ),
]
Pixels = Annotated[
    str | None,
    _option("--pixels", help="Of the picture: 6000x4000 or 24MP.", metavar="COUNT", panel=CAMERA),
]
PixelPitch = Annotated[
    float | None,
    _option("--pixel-pitch", help="Width of a pixel in micrometres.", metavar="UM", panel=CAMERA),
]
Aperture = Annotated[
    float | None,
    _option(
        "--aperture", help="Such as f/2.8.", metavar="F", panel=CAMERA, parser=quantities.aperture
    ),
]
Iso = Annotated[float | None, _option("--iso", help="Of the frames.", metavar="N", panel=CAMERA)]
ReadNoise = Annotated[
    float | None,
    _option(
        "--read-noise",
        help="Of a frame, in electrons; typical for sensor and ISO, if not given.",
        metavar="E",
        panel=CAMERA,
    ),
]
ByHand = Annotated[
    bool,
    typer.Option(
        "--by-hand",
        help="No tripod: frames short enough for a hand, by the rule of the focal length.",
        rich_help_panel=CAMERA,
    ),
]
Stabiliser = Annotated[
    float | None,
    _option(
        "--stabiliser",
        help="By how many stops it lengthens what a hand holds, such as 3.",
        metavar="STOPS",
        panel=CAMERA,
    ),
]
Ev = Annotated[
    float | None,
    _option(
        "--ev",
        help="Of the light at ISO 100: 15 full sun, 13 the last sun, 9 sunset, 5 lit streets, "
        "-3 moonlit land, -7 a dark sky.",
        metavar="EV",
        panel=LIGHT,
    ),
]
Metered = Annotated[
    float | None,
    _option(
        "--metered",
        help="The shutter that the meter gives for aperture and ISO, such as 1/60.",
        metavar="TIME",
        panel=LIGHT,
        parser=seconds,
    ),
]
Frames = Annotated[int | None, _option("--frames", help="How many.", metavar="N", panel=TIME)]
FrameShutter = Annotated[
    float | None,
    _option(
        "--frame-shutter",
        help="Of each frame: 1/60, 0.5, 2s.",
        metavar="TIME",
        panel=TIME,
        parser=seconds,
    ),
]
Shutter = Annotated[
    float | None,
    _option(
        "--shutter",
        help="The exposure to build, open time of all frames: 30, 4m, 1h30m.",
        metavar="TIME",
        panel=TIME,
        parser=seconds,
    ),
]
Elapsed = Annotated[
    float | None,
    _option(
        "--elapsed",
        help="From the first frame to the last, such as 2h.",
        metavar="TIME",
        panel=TIME,
        parser=seconds,
    ),
]
Interval = Annotated[
    float | None,
    _option(
        "--interval",
        help="From one frame's start to the next.",
        metavar="TIME",
        panel=TIME,
        parser=seconds,
    ),
]
Gap = Annotated[
    float | None,
    _option(
        "--gap",
        help="Or the time between them in which the shutter is shut.",
        metavar="TIME",
        panel=TIME,
        parser=seconds,
    ),
]
Distance = Annotated[
    float | None,
    _option(
        "--distance",
        help="Of traffic or subject, such as 40m.",
        metavar="M",
        panel=MOVES,
        parser=quantities.metres,
    ),
]
Speed = Annotated[
    float | None,
    _option(
        "--speed",
        help="Of traffic or subject, such as 50km/h or 30mph.",
        metavar="KM/H",
        panel=MOVES,
        parser=quantities.road_speed,
    ),
]
Angle = Annotated[
    float | None,
    _option(
        "--angle",
        help="Between its way and the line of sight: 90 crosses the view (if not given), 30 comes "
        "or goes at a slant.",
        metavar="DEGREES",
        panel=MOVES,
    ),
]
Flow = Annotated[
    float | None,
    _option(
        "--flow",
        help="Of water or clouds, such as 0.5m/s or 3kn.",
        metavar="M/S",
        panel=MOVES,
        parser=quantities.flow_speed,
    ),
]
Texture = Annotated[
    float | None,
    _option(
        "--texture",
        help="Length of their waves or tufts, such as 20cm.",
        metavar="M",
        panel=MOVES,
        parser=quantities.metres,
    ),
]
Tide = Annotated[
    float | None,
    _option(
        "--tide",
        help="Metres per hour by which water rises, below 0 falls.",
        metavar="M",
        panel=MOVES,
    ),
]
Busy = Annotated[
    float | None,
    _option(
        "--busy",
        help="How much of the time each spot of a square is hidden by someone.",
        metavar="PERCENT",
        panel=MOVES,
        parser=quantities.share,
    ),
]
Blur = Annotated[
    float | None,
    _option(
        "--blur",
        help="How far a star may drift in a frame; its own width, if not given.",
        metavar="PIXELS",
        panel=SKY,
    ),
]
Declination = Annotated[
    float | None,
    _option(
        "--declination",
        help="Of the stars in view: 0 the equator, 90 the pole.",
        metavar="DEGREES",
        panel=SKY,
        parser=quantities.latitude,
    ),
]
Direction = Annotated[
    float | None,
    _option(
        "--direction",
        help="Or where the camera looks, with --altitude and --latitude: north, SE, 120.",
        metavar="DEGREES",
        panel=SKY,
        parser=quantities.direction,
    ),
]
Altitude = Annotated[
    float | None,
    _option("--altitude", help="Above the horizon.", metavar="DEGREES", panel=SKY),
]
Latitude = Annotated[
    float | None,
    _option(
        "--latitude",
        help="Of the place: 54.5 or 54.5N, 33.9S.",
        metavar="DEGREES",
        panel=SKY,
        parser=quantities.latitude,
    ),
]
Longitude = Annotated[
    float | None,
    _option(
        "--longitude",
        help="With --latitude tells sunset, twilight and moon: -3.6 or 3.6W.",
        metavar="DEGREES",
        panel=SKY,
        parser=quantities.longitude,
    ),
]
Date = Annotated[
    str | None,
    _option(
        "--date",
        help="Of the evening: 2026-08-12, today (if not given) or tomorrow.",
        metavar="DATE",
        panel=SKY,
    ),
]
Morning = Annotated[
    bool,
    typer.Option("--morning", help="The dawn of that date instead.", rich_help_panel=SKY),
]
Zone = Annotated[
    str | None,
    _option(
        "--zone",
        help="Whose clock to show, such as Europe/London or +02:00; this machine's, if not given.",
        metavar="ZONE",
        panel=SKY,
    ),
]
FrameSize = Annotated[
    float | None,
    _option(
        "--frame-size",
        help="Of one file, such as 25MB.",
        metavar="SIZE",
        panel=CARD,
        parser=quantities.size,
    ),
]
Sample = Annotated[
    Path | None,
    _option(
        "--sample", help="Or a file of this camera, whose size counts.", metavar="FILE", panel=CARD
    ),
]
Card = Annotated[
    float | None,
    _option(
        "--card",
        help="Of one card, such as 64GB.",
        metavar="SIZE",
        panel=CARD,
        parser=quantities.size,
    ),
]
Battery = Annotated[
    float | None,
    _option(
        "--battery",
        help="How long a charge lasts, camera switched on.",
        metavar="TIME",
        panel=CARD,
        parser=seconds,
    ),
]
Cold = Annotated[
    bool,
    typer.Option(
        "--cold", help="Near freezing: a charge lasts half as long.", rich_help_panel=CARD
    ),
]
Format = Annotated[
    str,
    typer.Option(
        "--format",
        help="How the plan is written.",
        metavar="text|markdown|json",
        autocompletion=lambda: ["text", "markdown", "json"],
    ),
]
Output = Annotated[
    Path | None,
    typer.Option("-o", "--output", help="Write it to a file.", metavar="FILE"),
]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")]
