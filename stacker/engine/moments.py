"""The spans of frames about moments: that of balance of a dusk, or one by the frames' own clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any

from stacker.burst import Burst
from stacker.engine.dusk import DuskLook, clock_of, frames_near, look_at_dusk, time_of
from stacker.engine.progress import Progress
from stacker.engine.region import AUTO, Region, clock_time
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.engine.span import weights_of
from stacker.errors import OptionError
from stacker.survey.dusk import Fade, find_balance, find_fade

# where light does not fade, so much before and after a moment is of that moment
HALF_SPAN_S = 30.0
# a person reads a clock to the minute: so far beyond the frames the nearest one is meant
CLOCK_SLACK_S = 60.0


@dataclass(frozen=True)
class Moments:
    """Settings with spans of frames in place of moments, and what is told of those.

    Parameters
    ----------
    found : of each moment, what the report says.
    sentences : the same for a person.
    """

    settings: Settings
    found: tuple[dict[str, Any], ...] = ()
    sentences: tuple[str, ...] = ()

    def telling(self, shots: dict[str, Shot]) -> dict[str, Shot]:
        """Return the shots with reports that tell the moments; the same where there are none."""
        if not self.found:
            return shots
        return {
            name: replace(
                shot,
                report={
                    **shot.report,
                    "moments": list(self.found),
                    "warnings": [*self.sentences, *shot.report["warnings"]],
                },
            )
            for name, shot in shots.items()
        }


def choose_moments(burst: Burst, settings: Settings, progress: Progress) -> Moments:
    """Return the settings with the frames of the moments that are asked for.

    Raises
    ------
    OptionError
        A moment cannot be told, or lies beyond the frames; the sentence says what would help.
    """
    if settings.moment is None and not any(region.moment for region in settings.regions):
        return Moments(settings)
    choice = _Choice(burst, settings, progress)
    spans = [
        choice.span(f"{region.option}: moment {region.moment}", region.mask, region.moment)
        if region.moment is not None
        else None
        for region in settings.regions
    ]
    regions = tuple(
        replace(region, moment=None, first=span[0], last=span[1])
        if span is not None
        else _by_itself(region, settings, burst)
        for region, span in zip(settings.regions, spans, strict=True)
    )
    settings = replace(settings, regions=())
    if settings.moment is not None:
        first, last = choice.span(f"--moment {settings.moment}", None, settings.moment)
        settings = replace(settings, moment=None, first=first, last=last)
    found = sorted(choice.found, key=lambda each: each["mask"] is not None)
    return Moments(
        replace(settings, regions=regions),
        tuple(found),
        tuple(dict.fromkeys(_sentence(burst, each) for each in found)),
    )


def _by_itself(region: Region, settings: Settings, burst: Burst) -> Region:
    """Return a region whose own span does not begin or end with the picture's moment."""
    if settings.moment is None or not region.has_span:
        return region
    first = 1 if region.first is None else region.first
    open_end = region.last is None and region.shutter_s is None
    return replace(region, first=first, last=len(burst.frames) if open_end else region.last)


@dataclass(eq=False)
class _Choice:
    """One look at a burst, from which any number of moments are told."""

    burst: Burst
    settings: Settings
    progress: Progress
    found: list[dict[str, Any]] = field(default_factory=list)

    def span(self, option: str, mask: str | None, asked: str) -> tuple[int, int]:
        """Return the first and the last frame of a moment, counted from 1, and note it."""
        moment_s, fade = self._balance(option) if asked == AUTO else self._at(option, asked)
        near_s = moment_s - HALF_SPAN_S, moment_s + HALF_SPAN_S
        if fade is not None:
            near_s = fade.near(moment_s)
        places = frames_near(self.burst, self._good, moment_s, near_s)
        self.found.append(
            {
                "mask": mask,
                "asked": asked,
                "at_s": round(moment_s, 1),
                "clock": clock_of(self.burst, moment_s),
                "by": "a quarter of a stop" if fade is not None else "a minute",
                "first": places[0] + 1,
                "last": places[-1] + 1,
            }
        )
        return places[0] + 1, places[-1] + 1

    @cached_property
    def _good(self) -> list[int]:
        """The places of the frames that may be used."""
        everything = replace(self.settings, moment=None, weights=None, regions=())
        weights = weights_of(self.burst, range(len(self.burst.frames)), everything)
        frames = self.burst.frames
        good = [p for p, frame in enumerate(frames) if weights[p] > 0 and not frame.problem]
        # that none can be read is told where they are read
        return good or list(range(len(frames)))

    @cached_property
    def _look(self) -> DuskLook | None:
        return look_at_dusk(self.burst, self._good, self.settings, self.progress)

    def _balance(self, option: str) -> tuple[float, Fade | None]:
        """Return when sky and lamps balance, and how the sky fades."""
        if self._look is None:
            why: str | None = "it takes three frames at least"
        else:
            balance = find_balance(self._look.frames, self._look.starts_s)
            if balance.moment_s is not None:
                return balance.moment_s, balance.fade
            why = balance.why
        raise OptionError(
            option,
            f"the balance of sky and lamps cannot be told: {why}",
            remedy=f"{self._clocks() or 'give the frames by --first and --last'}",
            code="option-moment",
        )

    def _at(self, option: str, asked: str) -> tuple[float, Fade | None]:
        """Return when the frames' clock showed a time, and how the sky fades."""
        first_s, last_s = (self.burst.frames[self._good[end]].start_s for end in (0, -1))
        began = time_of(self.burst, first_s)
        if began is None:
            raise OptionError(
                option,
                "the frames do not tell when they were taken",
                remedy="give --moment auto, or the frames by --first and --last",
                code="option-moment",
            )
        moment_s = first_s + _seconds_until(asked, began)
        # where the clock was set, or frames are timed otherwise, each frame's own time counts
        for _ in range(2):
            shown = time_of(self.burst, moment_s)
            assert shown is not None
            moment_s += _seconds_until(asked, shown)
        if not first_s - CLOCK_SLACK_S <= moment_s <= last_s + CLOCK_SLACK_S:
            raise OptionError(
                option, "lies beyond the frames", remedy=self._clocks(), code="option-moment"
            )
        fade = None
        if self._look is not None:
            fade = find_fade(self._look.frames, self._look.starts_s)
        return min(max(moment_s, first_s), last_s), fade

    def _clocks(self) -> str:
        """Return what time can be asked for; an empty text where no frame tells one."""
        first_s, last_s = (self.burst.frames[self._good[end]].start_s for end in (0, -1))
        begin, end = clock_of(self.burst, first_s), clock_of(self.burst, last_s)
        if begin is None or end is None:
            return ""
        return f"give a time from {begin} to {end}, or the frames by --first and --last"


def _seconds_until(asked: str, shown: datetime) -> float:
    """Return the seconds from one time to the nearest at which a clock shows another."""
    wanted = datetime.combine(shown.date(), clock_time(asked), tzinfo=shown.tzinfo)
    days = (wanted + timedelta(days=day) for day in (-1, 0, 1))
    return min(((day - shown).total_seconds() for day in days), key=abs)


def _sentence(burst: Burst, found: dict[str, Any]) -> str:
    frames: Sequence[int] = (found["first"], found["last"])
    whole = "the picture" if found["mask"] is None else found["mask"]
    times = [clock_of(burst, burst.frames[number - 1].start_s) for number in frames]
    within = f" ({times[0]} to {times[1]})" if times[0] and times[1] else ""
    what = (
        f"frame {frames[0]}{f' ({times[0]})' if times[0] else ''} makes"
        if frames[0] == frames[1]
        else f"frames {frames[0]} to {frames[1]}{within} make"
    )
    if found["asked"] != AUTO:
        return f"at {found['clock']}: {what} {whole}"
    at = f" at {found['clock']}" if found["clock"] else ""
    return f"sky and lamps balance{at}: {what} {whole}"
