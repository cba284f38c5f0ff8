"""What a look at a burst has found: each thing with its cause and its remedy, the worst first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, get_args

# a problem spoils the picture, a caution may, a note is good to know
Severity = Literal["problem", "caution", "note"]
NAMED = 3


@dataclass(frozen=True)
class Finding:
    """One thing worth telling.

    Parameters
    ----------
    code : short stable name, such as ``"frames-missing"``.
    what, cause, remedy : whole sentences; a remedy may be empty where nothing needs to be done.
    frames : numbers of the frames concerned, counted from 1 in the burst.
    """

    code: str
    severity: Severity
    what: str
    cause: str
    remedy: str = ""
    frames: tuple[int, ...] = ()


def worst_first(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return the findings by severity; those of one severity keep their order."""
    rank = {severity: place for place, severity in enumerate(get_args(Severity))}
    return tuple(sorted(findings, key=lambda finding: rank[finding.severity]))


def listed(words: Sequence[str]) -> str:
    """Return a few words as a list, such as ``"a, b, c and 4 more"`` or ``"a and b"``."""
    if len(words) > NAMED + 1:
        return f"{', '.join(words[:NAMED])} and {len(words) - NAMED} more"
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1]))) if words else ""


def frame_spans(numbers: Sequence[int]) -> str:
    """Return frame numbers as ``--without`` takes them, such as ``"3,7-9"``."""
    spans: list[list[int]] = []
    for number in sorted(set(numbers)):
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ",".join(f"{one}" if one == two else f"{one}-{two}" for one, two in spans)


def place_in_words(box: tuple[int, int, int, int], size: tuple[int, int]) -> str:
    """Return where a box lies in a picture of (width, height), such as "at the lower left"."""
    across = (box[0] + box[2] / 2) / size[0]
    down = (box[1] + box[3] / 2) / size[1]
    rows = "upper" if down < 1 / 3 else "lower" if down > 2 / 3 else ""
    columns = "left" if across < 1 / 3 else "right" if across > 2 / 3 else ""
    if not rows and not columns:
        return "in the middle"
    if rows and not columns:
        return f"in the {rows} middle"
    return f"at the {rows} {columns}" if rows else f"at the {columns}"
