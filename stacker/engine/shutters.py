"""The shutter times of a ladder: how many frames each rung takes, and what it is called."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import accumulate

from stacker.burst import Frame
from stacker.errors import OptionError

# from here on photographers write seconds, not fractions
LONGEST_FRACTION_S = 0.29
# open times are a little off what the dial says: 1/60 is 0.0156 s on many cameras
DIAL_ROUNDING = 0.08
NAMED_FRACTIONS = {2: "1/2", 3: "1/3", 1: "1 s"}
MINUTE_S, HOUR_S = 60, 3600


def doubling_counts(count: int) -> tuple[int, ...]:
    """Return 1, 2, 4, 8 and so on up to ``count``, which is always the last."""
    doubled = [1 << power for power in range(count.bit_length())]
    return tuple(doubled if doubled[-1] == count else [*doubled, count])


def counts_for(
    frames: Sequence[Frame], shutters_s: Sequence[float], *, option: str = "--shutters"
) -> tuple[int, ...]:
    """Return how many frames, from the first on, come nearest to each open time, rising.

    Two times that come to the same number make one rung.

    Raises
    ------
    OptionError
        A time is no time, is longer than all frames together, or nobody knows the shutter.
    """
    shutters = [known_shutter(frame, option) for frame in frames]
    open_s = list(accumulate(shutters))
    counts = set()
    for wanted in shutters_s:
        if not (math.isfinite(wanted) and wanted > 0):
            raise OptionError(
                f"{option} {wanted:g}",
                "is no time",
                remedy="give seconds above 0",
                code="option-value",
            )
        if wanted > max(open_s[-1] + shutters[-1] / 2, open_s[-1] * (1 + DIAL_ROUNDING)):
            raise OptionError(
                f"{option} {wanted:g}",
                f"the frames are open for {open_s[-1]:.4g} s in all",
                remedy="give no longer time, or start with an earlier frame",
                code="option-span",
            )
        nearest = min(range(len(open_s)), key=lambda k: abs(open_s[k] - wanted))
        counts.add(nearest + 1)
    return tuple(sorted(counts))


def known_shutter(frame: Frame, option: str) -> float:
    """Return how long a frame was open, in seconds.

    Raises
    ------
    OptionError
        Nobody knows, so the option cannot be had.
    """
    if frame.shutter_s is None:
        raise OptionError(
            option,
            f"the shutter time of {frame.name} is not known",
            remedy=f"add --frame-shutter SECONDS, or leave {option} out",
            code="option-span",
        )
    return frame.shutter_s


def dial_time(seconds: float) -> str:
    """Return a shutter time as photographers write it: 1/60, 1/2, 0.8 s, 30 s, 2 min, 1 h 5 min."""
    if seconds < LONGEST_FRACTION_S:
        return f"1/{math.floor(1 / seconds + 0.5)}"
    for below, name in NAMED_FRACTIONS.items():
        if abs(seconds * below - 1) < DIAL_ROUNDING:
            return name
    if seconds < MINUTE_S - 0.5:
        return f"{seconds:.1g} s" if seconds < 0.95 else f"{seconds:.2g} s"
    if seconds < HOUR_S - 0.5:
        minutes, rest = divmod(round(seconds), MINUTE_S)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    hours, minutes = divmod(round(seconds / MINUTE_S), MINUTE_S)
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"
