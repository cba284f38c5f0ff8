"""``--region`` and ``--save-masks``: a mask, and what is done differently there."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from stacker.cli.options import REGIONS
from stacker.cli.words import frame_numbers, numbers, seconds
from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker import engine

Regions = Annotated[
    list[str],
    typer.Option(
        "--region",
        help="A part of the picture made in its own way: the name of a gray picture whose white it "
        "is, or sky, ground, moving or still, which are found; then what differs there, such as "
        '"water.png=blend mean, first 3, last 40": blend, hold, moment, first, last, without, '
        "shutter, floor, bridge, no-bridge, warmth, gains, feather (pixels). Several lie over "
        "each other.",
        metavar="MASK=SETTINGS",
        rich_help_panel=REGIONS,
    ),
]
SaveMasks = Annotated[
    Path | None,
    typer.Option(
        help="Write the masks that are found in the burst to a folder, to be changed and given "
        "back: sky.png, ground.png, moving.png, still.png.",
        metavar="DIR",
        rich_help_panel=REGIONS,
    ),
]
EXAMPLE = 'such as --region "water.png=blend mean, first 3, last 40"'
# what takes a word behind it, by the names of the long options, and what that is
TAKES: dict[str, tuple[str, Callable[[str], Any]]] = {
    "blend": ("blend", str),
    "hold": ("hold", str),
    "moment": ("moment", str),
    "first": ("first", int),
    "last": ("last", int),
    "without": ("without", lambda text: frame_numbers("without", ",".join(text.split()))),
    "shutter": ("shutter_s", seconds),
    "floor": ("floor", str),
    "warmth": ("warmth", float),
    "gains": ("gains", lambda text: numbers("gains", ",".join(text.split()))),
    "feather": ("feather_px", float),
}
ALONE = {"bridge": True, "no-bridge": False}


def regions_of(texts: list[str]) -> tuple[engine.Region, ...]:
    """Return the regions that were typed.

    Raises
    ------
    OptionError
        One is not written as regions are; the sentence says what would help.
    """
    return tuple(_region(text) for text in texts)


def _region(text: str) -> engine.Region:
    from stacker.engine import Region

    # a file's name may hold the sign too
    mask, sign, rest = text.rpartition("=")
    if not sign or not mask.strip() or not rest.strip(" ,"):
        raise _unclear(text, "is no mask with settings", f"write MASK=SETTINGS, {EXAMPLE}")
    said: dict[str, Any] = {}
    for phrase in filter(None, (part.strip() for part in rest.split(","))):
        word, _, value = phrase.partition(" ")
        name, meant = _meant(text, word.removeprefix("--"), value.strip())
        if name in said:
            raise _unclear(text, f"says {word} twice", "say it once")
        said[name] = meant
    return Region(mask=mask.strip(), **said)


def _meant(text: str, word: str, value: str) -> tuple[str, Any]:
    """Return the name of a setting and its value."""
    if word in ALONE and not value:
        return "bridge", ALONE[word]
    if word not in TAKES or not value:
        known = ", ".join([*TAKES, *ALONE])
        why = f"{word} wants a value" if word in TAKES else f"{word!r} is no setting of a region"
        raise _unclear(text, why, f"there are {known}; {EXAMPLE}")
    name, reading = TAKES[word]
    try:
        return name, reading(value)
    except (ValueError, typer.BadParameter, OptionError) as error:
        raise _unclear(text, f"{word} {value} makes no sense", f"write it {EXAMPLE}") from error


def _unclear(text: str, why: str, remedy: str) -> OptionError:
    return OptionError(f"--region {text}", why, remedy=remedy, code="option-region")
