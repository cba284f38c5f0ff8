"""Reading quantities as photographers write them: f/2.8, 24mm, 50km/h, 25MB, north, 54.5N."""

from __future__ import annotations

import re
from datetime import date, timedelta

import typer

from stacker.errors import OptionError

LENGTHS = {"km": 1000.0, "m": 1.0, "cm": 0.01, "": 1.0}
# a bare number counts as what the option says
SPEEDS = {"km/h": 1 / 3.6, "kmh": 1 / 3.6, "m/s": 1.0, "mph": 0.44704, "kn": 1852 / 3600}
# cards and files are sold and shown in powers of ten
SIZES = {"": 1.0, "b": 1.0, "kb": 1e3, "mb": 1e6, "gb": 1e9, "tb": 1e12}
POINTS = ("n", "nne", "ne", "ene", "e", "ese", "se", "sse",
          "s", "ssw", "sw", "wsw", "w", "wnw", "nw", "nnw")  # fmt: skip
WORDS = {"north": "n", "east": "e", "south": "s", "west": "w"}
QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)\s*([a-z/%]*)\s*")


def _quantity(text: str | float, units: dict[str, float], wrong: str) -> float:
    """Return a number with its unit multiplied in."""
    if isinstance(text, float):
        return text
    match = QUANTITY.fullmatch(text.lower())
    if match is None or match[2] not in units:
        raise typer.BadParameter(f"{text} is {wrong}")
    return float(match[1]) * units[match[2]]


def aperture(text: str | float) -> float:
    """Return the f-number of ``f/2.8``, ``f2.8`` or ``2.8``."""
    typed = text if isinstance(text, float) else re.sub(r"^\s*f\s*/?\s*", "", text.lower())
    return _quantity(typed, {"": 1.0}, "no aperture; give one such as f/2.8")


def focal_length(text: str | float) -> float:
    """Return millimetres of ``24`` or ``24mm``."""
    return _quantity(text, {"": 1.0, "mm": 1.0}, "no focal length; give one such as 24mm")


def metres(text: str | float) -> float:
    """Return metres of ``40``, ``40m``, ``30cm`` or ``1.5km``."""
    return _quantity(text, LENGTHS, "no length; give one such as 40m, 30cm or 1.5km")


def road_speed(text: str | float) -> float:
    """Return metres per second of ``50`` (km/h), ``30mph`` or ``12m/s``."""
    units = {**SPEEDS, "": SPEEDS["km/h"]}
    return _quantity(text, units, "no speed; give one such as 50km/h, 30mph or 12m/s")


def flow_speed(text: str | float) -> float:
    """Return metres per second of ``0.5`` (m/s), ``3kn`` or ``4km/h``."""
    units = {**SPEEDS, "": 1.0}
    return _quantity(text, units, "no speed; give one such as 0.5m/s or 3kn")


def size(text: str | float) -> float:
    """Return bytes of ``25MB`` or ``64GB``, in powers of ten as on cards."""
    return _quantity(text, SIZES, "no size; give one such as 25MB or 64GB")


def share(text: str | float) -> float:
    """Return a share of 0 to 1 of a percentage, ``20`` or ``20%``."""
    return _quantity(text, {"": 0.01, "%": 0.01}, "no percentage; give one such as 20")


def latitude(text: str | float) -> float:
    """Return degrees north of ``54.5``, ``54.5N`` or ``33S``."""
    return _quantity(
        text, {"": 1.0, "n": 1.0, "s": -1.0}, "no latitude; give one such as 54.5 or 33.9S"
    )


def longitude(text: str | float) -> float:
    """Return degrees east of ``-3.6``, ``3.6W`` or ``18E``."""
    return _quantity(
        text, {"": 1.0, "e": 1.0, "w": -1.0}, "no longitude; give one such as -3.6 or 3.6W"
    )


def direction(text: str | float) -> float:
    """Return degrees from north over east of ``120``, ``SE`` or ``north``."""
    if not isinstance(text, float):
        point = WORDS.get(text.strip().lower(), text.strip().lower())
        if point in POINTS:
            return 22.5 * POINTS.index(point)
    return _quantity(text, {"": 1.0}, "no direction; give degrees from north, or N, NE, south")


def pixels(text: str) -> tuple[tuple[int, int] | None, float | None]:
    """Return columns and rows of ``6000x4000``, or megapixels of ``24MP``; the other is None.

    Raises
    ------
    OptionError
        The text is neither.
    """
    typed = text.lower().replace("\N{MULTIPLICATION SIGN}", "x").replace(" ", "")
    if match := re.fullmatch(r"(\d{1,9})x(\d{1,9})", typed):
        return (int(match[1]), int(match[2])), None
    if match := re.fullmatch(r"(\d+\.?\d*|\.\d+)(mp|mpx)?", typed):
        return None, float(match[1])
    raise OptionError(
        f"--pixels {text}",
        "is no count of pixels",
        remedy="give one such as 6000x4000 or 24MP",
        code="option-value",
    )


def evening_date(text: str) -> date:
    """Return the date of ``2026-08-12``, ``today`` or ``tomorrow``.

    Raises
    ------
    OptionError
        The text is none, or the calendar has no such day.
    """
    today = date.today()
    named = {"today": today, "tomorrow": today + timedelta(days=1)}
    if text.lower() in named:
        return named[text.lower()]
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise OptionError(
            f"--date {text}",
            "is no date",
            remedy="give one such as 2026-08-12, today or tomorrow",
            code="option-value",
        ) from error
