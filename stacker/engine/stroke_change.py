"""What is asked of one pass of the lamp."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from stacker.errors import OptionError
from stacker.light.lamp_gains import TINTS

OFF = "off"


@dataclass(frozen=True)
class StrokeChange:
    """A pass, by its number from 1 on, with its light times ``factor`` and in a ``tint``.

    A factor of 0 leaves its frames out.
    """

    number: int
    factor: float = 1.0
    tint: str | None = None

    @property
    def said(self) -> str:
        """It in words."""
        if self.factor == 0:
            return OFF
        factor = f"{self.factor:g} times" if self.factor != 1 else ""
        return ", ".join(filter(None, (factor, self.tint))) or "as it is"


def stroke_changes(texts: Iterable[str]) -> tuple[StrokeChange, ...]:
    """Return what ``2=off``, ``3=0.5``, ``3=warm`` or ``3=0.5,warm`` ask for.

    Raises
    ------
    OptionError
        A text asks for nothing, or a pass is named twice.
    """
    changes: dict[int, StrokeChange] = {}
    for text in texts:
        change = _change_of(text)
        if change.number in changes:
            raise _nonsense(text, f"names pass {change.number} twice")
        changes[change.number] = change
    return tuple(changes.values())


def changes_of(said: Iterable[str | StrokeChange]) -> tuple[StrokeChange, ...]:
    """Return changes that were typed, or made already, as changes."""
    given = tuple(said)
    made = tuple(each for each in given if isinstance(each, StrokeChange))
    return made + stroke_changes(each for each in given if isinstance(each, str))


def _change_of(text: str) -> StrokeChange:
    number, equals, words = (part.strip() for part in text.partition("="))
    if not equals or not number.isascii() or not number.isdigit() or int(number) < 1:
        raise _nonsense(text, "names no pass and what becomes of it")
    change = StrokeChange(int(number))
    for word in (each.strip().lower() for each in words.split(",")):
        if word in TINTS and change.tint is None:
            change = StrokeChange(change.number, change.factor, word)
            continue
        factor = 0.0 if word == OFF else _factor(word)
        if factor is None or change.factor != 1:
            raise _nonsense(text, f"{word!r} is no factor and no tint")
        change = StrokeChange(change.number, factor, change.tint)
    return change


def _factor(word: str) -> float | None:
    try:
        factor = float(word)
    except ValueError:
        return None
    return factor if math.isfinite(factor) and factor >= 0 else None


def _nonsense(text: str, why: str) -> OptionError:
    return OptionError(
        f"--pass {text}",
        why,
        remedy=f"write 2=off, 3=0.5 or 3=0.5,warm, with a tint of {', '.join(TINTS)}",
        code="option-pass",
    )
