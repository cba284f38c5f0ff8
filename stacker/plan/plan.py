"""The plan of a burst, as one frozen object that can be printed, kept and asked."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from stacker.plan.exposure import Filter
from stacker.plan.eye import Finding
from stacker.plan.known import Assumption
from stacker.plan.noise import Noise
from stacker.plan.sensors import Sensor
from stacker.plan.storage import Storage
from stacker.plan.twilight import Evening

FORMAT = 1


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What to shoot, what it takes and what it gives.

    Parameters
    ----------
    subject, title, reads_well : its name, in words, and how long a shutter suits it.
    frames, frame_shutter_s, interval_s, gap_s : the beat of the burst.
    open_s, elapsed_s : open time of all frames, and from first opening to last closing.
    why : reasons for shutter and count.
    sensor, focal_mm, aperture, iso, ev : camera and light (EV at ISO 100).
    brighter_stops : of the frames than the meter wants; below 0 darker.
    filter : the neutral-density filter replaced.
    storage, noise : card, battery; noise against other ways.
    seen : what the eye will see.
    evening : sun and moon; None if date or place is not known.
    camera, cautions, warnings : sentences.
    assumed : what was not told.
    command : how to make the picture of it.
    blend, true_floor : what that does with the frames, and whether a lighten keeps its floor true.
    """

    subject: str
    title: str
    reads_well: str
    frames: int
    frame_shutter_s: float
    interval_s: float
    gap_s: float
    open_s: float
    elapsed_s: float
    why: tuple[str, ...]
    sensor: Sensor
    focal_mm: float
    aperture: float
    iso: float
    ev: float
    brighter_stops: float
    filter: Filter
    storage: Storage
    noise: Noise
    seen: tuple[Finding, ...]
    evening: Evening | None
    camera: tuple[str, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    assumed: tuple[Assumption, ...]
    command: str
    blend: str
    true_floor: bool

    def to_dict(self) -> dict[str, Any]:
        """Return the plan as plain values for JSON: times as ISO 8601, key ``format`` first."""
        return {"format": FORMAT, **_plain(asdict(self))}


def _plain(value: Any) -> Any:
    """Return a value with dates as text and tuples as lists."""
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(each) for each in value]
    # a datetime is a date too
    return value.isoformat() if isinstance(value, date) else value
