"""Reading what a person types: times, lists of frames, lists of numbers."""

from __future__ import annotations

import re

import typer

from stacker.errors import OptionError
from stacker.wording import spoken as spoken

# what may stand behind a number of seconds, and how many it makes
UNITS = {"h": 3600.0, "min": 60.0, "m": 60.0, "s": 1.0, "ms": 0.001, "": 1.0}
NUMBER = r"(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?"
PART = re.compile(rf"({NUMBER})\s*(?:/\s*({NUMBER})\s*)?(h|min|ms|m|s|)\s*")


def seconds(text: str | float) -> float:
    """Return seconds from a time such as ``0.5``, ``1/60``, ``2s``, ``4m`` or ``1h30m``.

    An option's default comes as the number that it is.
    """
    if isinstance(text, float):
        return text
    typed, sign = text.strip().lower(), 1.0
    if typed.startswith("-"):
        # refused where it is used, in words that name the option
        typed, sign = typed[1:].lstrip(), -1.0
    total, at, seen = 0.0, 0, []
    while part := PART.match(typed, at):
        if part[2] is not None and float(part[2]) == 0:
            break
        total += float(part[1]) / float(part[2] or 1) * UNITS[part[3]]
        at = part.end()
        seen.append(part[3])
    # one bare number, or parts with units from hours down, each once
    order = [list(UNITS).index(unit) for unit in seen]
    well = order == sorted(set(order)) and ("" not in seen or len(seen) == 1)
    if at < len(typed) or not seen or not well:
        raise typer.BadParameter(f"{text} is no time; give one such as 30, 0.5, 1/60, 4m or 1h30m")
    return sign * total


def rate(text: str | float) -> float:
    """Return pictures per second from a number or a fraction, such as ``24`` or ``30000/1001``."""
    try:
        return seconds(text)
    except typer.BadParameter as error:
        raise typer.BadParameter(f"{text} is no frame rate; give one such as 24") from error


def blend_names(blends: list[str]) -> tuple[str, ...]:
    """Return the names of blends, each once, from options that may hold several with commas."""
    names = [name.strip() for words in blends for name in words.split(",") if name.strip()]
    return tuple(dict.fromkeys(names))


def memory_size(text: str | None) -> int | None:
    """Return bytes from a size such as ``2GB``; None where none was given."""
    if text is None:
        return None
    from stacker.engine.memory import parse_size

    return parse_size(text)


def frame_numbers(option: str, text: str) -> tuple[int, ...]:
    """Return frame numbers from a list such as ``13,17-19``.

    Raises
    ------
    OptionError
        The text is no such list.
    """
    numbers: list[int] = []
    for word in text.split(","):
        match = re.fullmatch(r"\s*(\d+)\s*(?:-\s*(\d+)\s*)?", word)
        if match is None or (match[2] and int(match[2]) < int(match[1])):
            raise OptionError(
                f"{option} {text}",
                "is no list of frames",
                remedy="give numbers and spans such as 13,17-19",
                code="option-value",
            )
        first = int(match[1])
        numbers += range(first, int(match[2] or first) + 1)
    return tuple(dict.fromkeys(numbers))


def numbers(option: str, text: str) -> tuple[float, ...]:
    """Return numbers from a list with commas.

    Raises
    ------
    OptionError
        The text is no such list.
    """
    try:
        return tuple(float(word) for word in text.split(","))
    except ValueError as error:
        raise OptionError(
            f"{option} {text}",
            "is not a list of numbers",
            remedy="give numbers with commas between them",
            code="option-value",
        ) from error


def one_or_two(option: str, text: str) -> tuple[float, float]:
    """Return two numbers from one, which counts for both, or from two.

    Raises
    ------
    OptionError
        There are more, or none.
    """
    given = numbers(option, text)
    if len(given) > 2:
        raise OptionError(
            f"{option} {text}",
            "takes one or two numbers",
            remedy="such as 3 or 3,2.5",
            code="option-value",
        )
    return given[0], given[-1]


def count_or_auto(text: str | None) -> int | str | None:
    """Return a whole number as one, anything else as it was typed: the settings judge it."""
    return int(text) if text is not None and text.isdecimal() else text
