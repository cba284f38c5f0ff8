"""The rhythm of a burst: from start to start, shutter, gaps, open time and elapsed time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

# a step from start to start so many times the usual one is a pause
PAUSE = 1.5


@dataclass(frozen=True)
class Rhythm:
    """When the shutter was open.

    Parameters
    ----------
    interval_s : the usual time from start to start; None for a single frame.
    shutter_s : the usual shutter; None where unknown.
    gaps_s : seconds in the dark after each frame; None after the last and where unknown.
    open_s, elapsed_s : in all; None where a shutter is unknown.
    pauses : places of frames after which came much more than the usual interval.
    """

    interval_s: float | None
    shutter_s: float | None
    gaps_s: tuple[float | None, ...]
    open_s: float | None
    elapsed_s: float | None
    pauses: tuple[int, ...]

    @property
    def gap_s(self) -> float | None:
        """The usual gap."""
        known = [gap for gap in self.gaps_s if gap is not None]
        return median(known) if known else None

    @property
    def open_share(self) -> float | None:
        """The share of the time in which the shutter was open, 0 to 1."""
        if not self.open_s or not self.elapsed_s:
            return None
        return min(1.0, self.open_s / self.elapsed_s)


def rhythm_of(starts_s: Sequence[float], shutters_s: Sequence[float | None]) -> Rhythm:
    """Return the rhythm of frames that opened at rising ``starts_s``, seconds."""
    steps = [two - one for one, two in pairwise(starts_s)]
    usual = median(steps) if steps else None
    gaps: list[float | None] = [
        None if shutter is None else max(0.0, step - shutter)
        for step, shutter in zip(steps, shutters_s, strict=False)
    ]
    known = [shutter for shutter in shutters_s if shutter is not None]
    whole = len(known) == len(shutters_s)
    pauses = [place for place, step in enumerate(steps) if usual and step > PAUSE * usual]
    return Rhythm(
        interval_s=usual,
        shutter_s=median(known) if known else None,
        gaps_s=(*gaps, None),
        open_s=sum(known) if whole else None,
        elapsed_s=starts_s[-1] + known[-1] - starts_s[0] if whole else None,
        pauses=tuple(pauses),
    )
