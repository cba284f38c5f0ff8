"""Reading what a person types: seconds, lists of frames, lists of numbers; and saying times."""

from __future__ import annotations

import math
import re

import typer

from stacker.errors import OptionError


def seconds(text: str | float) -> float:
    """Return seconds from a number or a fraction, such as ``0.5``, ``1/60`` or ``30``.

    An option's default comes as the number that it is.
    """
    if isinstance(text, float):
        return text
    above, slash, below = text.partition("/")
    try:
        return float(above) / float(below) if slash else float(above)
    except (ValueError, ZeroDivisionError) as error:
        raise typer.BadParameter(
            f"{text} is no time; give seconds such as 30, 0.5 or 1/60"
        ) from error


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


def spoken(time_s: float) -> str:
    """Return a time in words: ``1/60 s``, ``12.5 s``, ``48 min 20 s``, ``3 h 10 min``."""
    if 0 < time_s < 0.3:
        return f"1/{round(1 / time_s)} s"
    if time_s < 60:
        return f"{time_s:.3g} s"
    whole = math.floor(time_s + 0.5)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    if hours:
        return f"{hours} h {minutes} min"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"
