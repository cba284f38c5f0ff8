"""Saying times and amounts in words, the same wherever the program speaks of them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import datetime


def spoken(time_s: float) -> str:
    """Return a time in words: ``1/60 s``, ``12.5 s``, ``48 min 20 s``, ``3 h 10 min``."""
    if 0 < time_s < 0.3:
        return f"1/{round(1 / time_s)} s"
    if time_s < 60:
        return f"{time_s:.3g} s"
    whole = math.floor(time_s + 0.5)
    hours, minutes, rest = whole // 3600, whole % 3600 // 60, whole % 60
    if hours:
        return f"{hours} h {minutes} min" if minutes else f"{hours} h"
    return f"{minutes} min {rest} s" if rest else f"{minutes} min"


def spoken_gap(time_s: float) -> str:
    """Return a wait in words, as a decimal number of seconds where it is not tiny: ``0.2 s``."""
    return f"{time_s:.3g} s" if 0.05 <= time_s < 10 or time_s == 0 else spoken(time_s)


def spoken_size(size_bytes: float) -> str:
    """Return an amount of storage in decimal units, as cards are sold: ``25 MB``, ``3.9 GB``."""
    for unit, name in ((1e12, "TB"), (1e9, "GB"), (1e6, "MB")):
        if size_bytes >= unit:
            return f"{size_bytes / unit:.3g} {name}"
    return f"{size_bytes / 1e3:.3g} kB"


def clock_time(moment: datetime) -> str:
    """Return the nearest minute of a clock: ``21:07``."""
    minute = moment.hour * 60 + moment.minute + (1 if moment.second >= 30 else 0)
    return f"{minute // 60 % 24:02d}:{minute % 60:02d}"


def spoken_share(share: float) -> str:
    """Return a share of one in percent: ``18 %``, ``0.4 %``, ``less than 0.1 %``."""
    if 0 < share < 0.001:
        return "less than 0.1 %"
    return f"{100 * share:.1f} %" if 0 < share < 0.01 else f"{100 * share:.0f} %"
