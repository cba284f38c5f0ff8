"""When each frame opened and for how long.

Order of trust: what the user says; a clip's own time stamps; capture times with parts of a second;
capture times in whole seconds, through which a steady cadence is fitted; the shutter times alone,
as if frames followed each other without a pause; one second a frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

import numpy as np

from stacker.burst.cadence import fit_cadence
from stacker.errors import OptionError

# shutters are named by rounded figures: "30 s" is 32, "1/15" is 1/16
NOMINAL_SLACK = 0.1
SLACK_S = 0.05
UNKNOWN_INTERVAL_S = 1.0
# a year: nobody waits longer for the next frame
LONGEST_S = 3.2e7
# a step between frames that is told: so many times the usual one, and so many seconds
LONG_PAUSE, LONG_PAUSE_S = 20, 600.0


@dataclass(frozen=True)
class Moment:
    """What one frame says about its time.

    ``time_s`` is the capture time on any one clock, ``fine`` whether it has a part below one
    second; ``file`` tells clips apart and ``offset_s`` is the time within one, None for stills.
    """

    time_s: float | None
    fine: bool
    shutter_s: float | None
    file: str
    offset_s: float | None


@dataclass(frozen=True)
class Timing:
    """Openings in seconds from the first, shutters in seconds or None, and what to say."""

    starts_s: tuple[float, ...]
    shutters_s: tuple[float | None, ...]
    warnings: tuple[str, ...]


def check_overrides(interval_s: float | None, frame_shutter_s: float | None) -> None:
    """Refuse times that cannot be.

    Raises
    ------
    OptionError
        An interval or shutter that is not a number above zero.
    """
    for name, value in (("--interval", interval_s), ("--frame-shutter", frame_shutter_s)):
        if value is not None and not 0 < value <= LONGEST_S:
            raise OptionError(
                f"{name} {value:g}",
                "is no time between or within frames",
                remedy="give seconds above 0",
                code="bad-time",
            )


def time_frames(
    moments: Sequence[Moment], *, interval_s: float | None, frame_shutter_s: float | None
) -> Timing:
    """Return when the frames of a burst opened and for how long.

    Parameters
    ----------
    moments : of each frame in shot order.
    interval_s : start to start, for all frames; pauses are then forgotten.
    frame_shutter_s : the shutter of every frame.
    """
    warnings: list[str] = []
    shutters: list[float | None]
    if frame_shutter_s is not None:
        shutters = [frame_shutter_s] * len(moments)
    else:
        shutters = _shutters(moments)
    if len(moments) == 1:
        starts = [0.0]
    elif interval_s is not None:
        starts = [place * interval_s for place in range(len(moments))]
    elif any(moment.offset_s is not None for moment in moments):
        starts = _starts_of_clips(moments, warnings)
    else:
        starts = _starts_of_stills(moments, shutters, warnings)
    if frame_shutter_s is None and any(moment.offset_s is not None for moment in moments):
        # a video camera hardly closes between frames: open all the time is the nearest guess
        spacing = _spacing(starts)
        shutters = [spacing if shutter is None else shutter for shutter in shutters]
    _look_for_overlap(starts, shutters, warnings)
    _look_for_pauses(starts, warnings)
    return Timing(tuple(starts), tuple(shutters), tuple(warnings))


def _shutters(moments: Sequence[Moment]) -> list[float | None]:
    """Return each frame's shutter; one that lacks it gets the median of the others."""
    known = [moment.shutter_s for moment in moments if moment.shutter_s is not None]
    usual = median(known) if known else None
    return [usual if moment.shutter_s is None else moment.shutter_s for moment in moments]


def _spacing(starts: Sequence[float]) -> float | None:
    """Return the median step between frames that follow each other in time."""
    steps = [two - one for one, two in pairwise(starts) if two > one]
    return median(steps) if steps else None


def _starts_of_clips(moments: Sequence[Moment], warnings: list[str]) -> list[float]:
    """Return openings from time stamps, one clip laid behind the other."""
    starts: list[float] = []
    shift = 0.0
    for place, moment in enumerate(moments):
        offset = moment.offset_s or 0.0
        if place and moment.file != moments[place - 1].file:
            shift = starts[-1] + (_spacing(starts) or UNKNOWN_INTERVAL_S) - offset
        starts.append(shift + offset)
    if len({moment.file for moment in moments}) > 1:
        warnings.append(
            "The clips are taken as following each other without a pause; "
            "their times of recording are not exact enough to tell."
        )
    return [start - starts[0] for start in starts]


def _starts_of_stills(
    moments: Sequence[Moment], shutters: Sequence[float | None], warnings: list[str]
) -> list[float]:
    """Return openings of stills from capture times, or from shutters where there are none."""
    known = [place for place, moment in enumerate(moments) if moment.time_s is not None]
    times = [moment.time_s for moment in moments if moment.time_s is not None]
    if 2 * len(known) < len(moments) or len(known) < 2:
        return _starts_without_times(shutters, warnings)
    if times[-1] <= times[0]:
        return _starts_without_times(shutters, warnings, "All capture times are the same")
    # a camera that writes no parts of a second may still write "00" for them
    fine = any(moments[place].fine for place in known) and any(time % 1 for time in times)
    if fine:
        starts = np.asarray(times) - times[0]
    else:
        shortest = min((shutter for shutter in shutters if shutter is not None), default=0.0)
        found = fit_cadence(times, known, at_least_s=shortest)
        starts = found.starts_s
        if not found.ok:
            warnings.append(
                f"Capture times are in whole seconds and {found.reason}: "
                "starts may be wrong by up to a second; --interval sets them."
            )
    return _filled(np.asarray(known), starts, len(moments))


def _filled(
    known: np.typing.NDArray[np.int_], starts: np.typing.NDArray[np.float64], count: int
) -> list[float]:
    """Return openings for all frames, those without a time in even steps between neighbours."""
    usual = float(np.median(np.diff(starts) / np.diff(known)))
    places = np.arange(count)
    filled = np.interp(places, known, starts)
    filled = np.where(places < known[0], starts[0] - usual * (known[0] - places), filled)
    filled = np.where(places > known[-1], starts[-1] + usual * (places - known[-1]), filled)
    return [float(start) for start in filled - filled[0]]


def _starts_without_times(
    shutters: Sequence[float | None], warnings: list[str], why: str = "Capture times are missing"
) -> list[float]:
    """Return openings as if each frame opened when the one before closed."""
    if all(shutter is not None for shutter in shutters):
        warnings.append(
            f"{why}: frames are taken as following each other without a gap; "
            "--interval sets the time from start to start."
        )
        lengths = [shutter or 0.0 for shutter in shutters]
        return [float(start) for start in np.concatenate([[0.0], np.cumsum(lengths[:-1])])]
    warnings.append(
        f"{why} and the shutter is not known: frames are taken as one second apart; "
        "--interval and --frame-shutter set them."
    )
    return [place * UNKNOWN_INTERVAL_S for place in range(len(shutters))]


def _look_for_overlap(
    starts: Sequence[float], shutters: Sequence[float | None], warnings: list[str]
) -> None:
    """Warn where frames are said to be open longer than the time to the next."""
    over = 0
    for start, after, shutter in zip(starts, starts[1:], shutters, strict=False):
        if shutter is not None:
            over += after - start < shutter * (1 - NOMINAL_SLACK) - SLACK_S
    if over:
        warnings.append(
            f"{over} of {len(starts)} frames are said to be open longer than the time to the next "
            "one: their gaps are taken as none; --interval and --frame-shutter set the times."
        )


def _look_for_pauses(starts: Sequence[float], warnings: list[str]) -> None:
    """Tell of steps so long that a clock set forward may be behind them."""
    steps = [two - one for one, two in pairwise(starts)]
    if not steps:
        return
    least = max(LONG_PAUSE_S, LONG_PAUSE * median(steps))
    for place, step in enumerate(steps):
        if step > least:
            warnings.append(
                f"{step / 60:.0f} minutes lie between frame {place + 1} and the next; if the clock "
                "was set forward there, --interval gives the true times."
            )
