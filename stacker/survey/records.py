"""What was found of each frame and of the whole burst, as plain data."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from stacker.survey.findings import Finding
from stacker.survey.shake import Place, Stand
from stacker.survey.timing import Rhythm

FORMAT = 1
TIME_DIGITS, LIGHT_DIGITS, PLACE_DIGITS, SHARE_DIGITS = 6, 3, 3, 5


@dataclass(frozen=True)
class FrameRecord:
    """One frame as the survey saw it.

    Parameters
    ----------
    number : from 1 in the whole burst.
    light_stops : its light against the burst's middle, log2; None where it could not be read.
    clipped, black : shares of its pixels at the limit in a channel, and at 0 in all, 0 to 1.
    sharpness : its fine detail in its worst direction against the burst's middle, about 1;
        None where it cannot be compared.
    place : where it looked; None where that cannot be told.
    verdict : ``"good"`` or in a word or two what is wrong; ``"unknown"`` where frames cannot be
        held to one view.
    why : the same in a clause; "" for a good frame.
    """

    number: int
    name: str
    start_s: float
    shutter_s: float | None
    gap_s: float | None
    light_stops: float | None = None
    clipped: float | None = None
    black: float | None = None
    sharpness: float | None = None
    place: Place | None = None
    verdict: str = "good"
    why: str = ""

    @property
    def good(self) -> bool:
        """Whether nothing speaks against it."""
        return self.verdict in ("good", "unknown")

    def to_json(self) -> dict[str, Any]:
        """Return it as data for JSON."""
        place = self.place
        return {
            "number": self.number,
            "name": self.name,
            "start_s": round(self.start_s, TIME_DIGITS),
            "shutter_s": self.shutter_s,
            "gap_s": rounded(self.gap_s, TIME_DIGITS),
            "light_stops": rounded(self.light_stops, LIGHT_DIGITS),
            "clipped": rounded(self.clipped, SHARE_DIGITS),
            "black": rounded(self.black, SHARE_DIGITS),
            "sharpness": rounded(self.sharpness, LIGHT_DIGITS),
            "x_px": rounded(None if place is None else place.x_px, PLACE_DIGITS),
            "y_px": rounded(None if place is None else place.y_px, PLACE_DIGITS),
            "shake_px": rounded(None if place is None else place.shake_px, PLACE_DIGITS),
            "turn_deg": rounded(None if place is None else place.turn_deg, TIME_DIGITS),
            "verdict": self.verdict,
            "why": self.why or None,
        }


@dataclass(frozen=True, eq=False)
class Survey:
    """What is in a burst.

    Parameters
    ----------
    frames : one for each frame of the span.
    size : (width, height) of a frame in pixels.
    rhythm : when the shutter was open.
    stand : what the camera stood on.
    reference : number of the frame that places are measured from; None where there is none.
    motion_model : how registration explains the burst; None where it cannot be held to one view.
    findings : the worst first.
    measured : figures about light, movement, noise and subject, by their keys of the JSON.
    options : words of ``stacker expose`` that suit the burst; see ``command``.
    output : a name for the picture.
    """

    program: str
    frames: tuple[FrameRecord, ...]
    size: tuple[int, int]
    rhythm: Rhythm
    stand: Stand
    reference: int | None
    motion_model: str | None
    findings: tuple[Finding, ...]
    options: tuple[str, ...] = ()
    output: str = "exposure.tif"
    measured: Mapping[str, Any] = field(default_factory=dict)

    def command(self, sources: Sequence[str] = ("BURST",)) -> str:
        """Return a command line for a shell; ``sources`` are the burst as it was named."""
        return shlex.join(["stacker", "expose", *sources, *self.options, "-o", self.output])

    def to_json(self, sources: Sequence[str] = ("BURST",)) -> dict[str, Any]:
        """Return everything as data for JSON, format 1: keys may be added, none goes."""
        rhythm = self.rhythm
        return {
            "format": FORMAT,
            "program": self.program,
            "size": list(self.size),
            "frames": [frame.to_json() for frame in self.frames],
            "rhythm": {
                "interval_s": rounded(rhythm.interval_s, TIME_DIGITS),
                "shutter_s": rhythm.shutter_s,
                "gap_s": rounded(rhythm.gap_s, TIME_DIGITS),
                "open_s": rounded(rhythm.open_s, TIME_DIGITS),
                "elapsed_s": rounded(rhythm.elapsed_s, TIME_DIGITS),
                "open_share": rounded(rhythm.open_share, SHARE_DIGITS),
            },
            "stand": self.stand,
            "reference": self.reference,
            "motion_model": self.motion_model,
            **self.measured,
            "findings": [
                {
                    "code": finding.code,
                    "severity": finding.severity,
                    "what": finding.what,
                    "cause": finding.cause,
                    "remedy": finding.remedy,
                    "frames": list(finding.frames),
                }
                for finding in self.findings
            ],
            "command": self.command(sources),
        }


def rounded(value: float | None, digits: int) -> float | None:
    """Return a number with so many digits behind the point, None where there is none."""
    return None if value is None else round(float(value), digits)
