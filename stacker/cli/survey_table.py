"""The survey's table: one line a frame, long bursts folded to the frames worth a look."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from stacker.cli.words import spoken

if TYPE_CHECKING:
    from stacker.survey.records import FrameRecord

# a burst up to so many frames is shown whole; of a longer one so many at either end
SHOWN_WHOLE, ENDS = 24, 3
# odd frames shown at most
ODD = 16
NAME_WIDTH = 20
NOTHING = "-"
HEADS = ("no.", "frame", "start", "shutter", "gap", "light", "clipped", "sharp", "shake", "turn",
         "verdict")  # fmt: skip
UNITS = ("", "", "", "", "", "stops", "", "", "px", "deg", "")


def table(records: Sequence[FrameRecord], *, whole: bool) -> list[str]:
    """Return the lines of the table; the first is the heading."""
    shown = range(len(records)) if whole else _worth_a_look(records)
    rows = [HEADS, UNITS, *(_cells(records[place]) for place in shown)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEADS))]
    lines = [_line(row, widths) for row in rows]
    folded, before = lines[:2], -1
    for place, line in zip(shown, lines[2:], strict=True):
        if place > before + 1:
            folded.append(_hidden(place - before - 1))
        folded.append(line)
        before = place
    return folded


def _worth_a_look(records: Sequence[FrameRecord]) -> list[int]:
    """Return the places of the first frames, the last ones and the odd ones."""
    count = len(records)
    if count <= SHOWN_WHOLE:
        return list(range(count))
    odd = [place for place, record in enumerate(records) if not record.good]
    return sorted({*range(ENDS), *range(count - ENDS, count), *odd[:ODD]})


def _hidden(count: int) -> str:
    return f"     ... {count} frame{'s' if count > 1 else ''} more"


def _line(cells: Sequence[str], widths: Sequence[int]) -> str:
    """Return one line: names and verdicts begin, numbers end in line."""
    words = [
        cell.ljust(width) if column in (1, len(cells) - 1) else cell.rjust(width)
        for column, (cell, width) in enumerate(zip(cells, widths, strict=True))
    ]
    return "  ".join(words).rstrip()


def _cells(record: FrameRecord) -> tuple[str, ...]:
    place = record.place
    return (
        str(record.number),
        _short(record.name),
        _start(record.start_s),
        NOTHING if record.shutter_s is None else spoken(record.shutter_s).removesuffix(" s"),
        NOTHING if record.gap_s is None else _number(record.gap_s),
        _signed(record.light_stops),
        NOTHING if record.clipped is None else _percent(record.clipped),
        NOTHING if record.sharpness is None else f"{record.sharpness:.2f}",
        NOTHING if place is None else f"{place.shake_px:.2f}"[:5].rstrip("."),
        NOTHING if place is None else f"{place.turn_deg:+.3f}".replace("+0.000", "0.000"),
        record.verdict,
    )


def _short(name: str) -> str:
    """Return the end of a name where it is long: there the frames are told apart."""
    return name if len(name) <= NAME_WIDTH else f"..{name[2 - NAME_WIDTH :]}"


def _start(start_s: float) -> str:
    minutes, seconds = divmod(start_s, 60)
    hours, minutes = divmod(int(minutes), 60)
    if hours:
        return f"{hours}:{minutes:02d}:{seconds:04.1f}"
    return f"{minutes}:{seconds:04.1f}" if minutes else f"{seconds:.2f}"


def _number(seconds: float) -> str:
    return "0" if seconds < 5e-4 else f"{seconds:.3g}"


def _signed(stops: float | None) -> str:
    return (
        NOTHING
        if stops is None
        else f"{stops:+.2f}".replace("+0.00", "0.00").replace("-0.00", "0.00")
    )


def _percent(share: float) -> str:
    return "0" if share == 0 else "<0.1 %" if share < 1e-3 else f"{100 * share:.1f} %"
