"""How the frames of a burst are put upon each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from stacker.blend import Intake
from stacker.burst import Burst
from stacker.engine.cover import Region, common_region
from stacker.engine.passes import FrameOutcome
from stacker.engine.watching import Watcher
from stacker.light.encoding import Encoding
from stacker.register import BAND_ROWS, MOST_OVERSHOOT, FrameMotion, Warp
from stacker.register.geometry import is_identity


@dataclass(frozen=True, eq=False)
class Holding:
    """How the frames are put upon each other.

    Parameters
    ----------
    model : the motion model that explains the burst, or "identity".
    reference : place of the frame that the others are brought to; None where that is the first
        one used.
    frames : what was found of each frame, by its place; none where frames are used as they lie.
    warps : how each frame is resampled, by its place; none where no frame moves.
    region : the rows and columns of the reference that make the picture.
    bad : frames that could not be read.
    warnings : whole sentences.
    instead : what was held where that is not what the settings say.
    looking_bytes : the memory that finding this out was planned to take.
    box : where the subject was found in the first frame, where nobody told.
    watcher : is to see the frames add up, and may call for another holding; None where all of
        them were looked at.
    """

    model: str
    reference: int | None
    region: Region
    frames: Mapping[int, FrameMotion] = field(default_factory=dict)
    warps: Mapping[int, Warp] = field(default_factory=dict)
    bad: Mapping[int, FrameOutcome] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    instead: str | None = None
    looking_bytes: int = 0
    box: tuple[float, ...] | None = None
    watcher: Watcher | None = None

    @property
    def refused(self) -> dict[int, str]:
        """Why frames do not belong in the picture, by their place."""
        return {p: f.why or "" for p, f in self.frames.items() if not f.used}

    def weighted(self, weights: Sequence[float]) -> tuple[float, ...]:
        """Return weights by place, less for frames whose detail is slightly blurred.

        Only where frames are resampled: those that lie still come out as if nothing held them.
        """
        found = {place: self.frames[place].weight for place in self.warps}
        return tuple(found.get(place, 1.0) * weight for place, weight in enumerate(weights))

    @cached_property
    def masked(self) -> bool:
        """Whether some frames have nothing to say about parts of the region."""
        rows, columns = self.region.rows, self.region.columns
        return any(
            warp.is_masked
            or (warp.spans[rows.start : rows.stop, 0] > columns.start).any()
            or (warp.spans[rows.start : rows.stop, 1] < columns.stop).any()
            for warp in self.warps.values()
        )

    @property
    def align(self) -> int:
        """Rows may be cut at whole multiples of this."""
        return BAND_ROWS if self.warps else 1

    def intake(self, burst: Burst, weights: tuple[float, ...]) -> Intake:
        """Return what the blends may expect: of frames that are resampled, light."""
        if not self.warps:
            return Intake(burst.encoding, weights, masked=self.masked, ordered=True)
        return resampled_intake(burst, weights, masked=self.masked)


def resampled_intake(burst: Burst, weights: tuple[float, ...], *, masked: bool) -> Intake:
    """Return what the blends may expect of frames that are resampled."""
    return Intake(
        Encoding("float32", burst.encoding.space),
        weights,
        codes=None if burst.encoding.is_light else burst.encoding,
        brightest=MOST_OVERSHOOT,
        masked=masked,
        ordered=True,
    )


def as_they_lie(burst: Burst, *warnings: str) -> Holding:
    """Return the holding that moves no frame."""
    return Holding("identity", None, _everything(burst), warnings=warnings)


def held_to(
    burst: Burst,
    model: str,
    reference: int,
    frames: Mapping[int, FrameMotion],
    bad: Mapping[int, FrameOutcome],
    *,
    common: bool,
) -> Holding:
    """Return the holding that brings frames to where the reference looked.

    ``common`` is whether the picture is what all of them saw, not all that the reference saw.

    Raises
    ------
    BurstError
        Nothing was seen by all.
    """
    everything = _everything(burst)
    if all(is_identity(frame.to_reference) for frame in frames.values() if frame.used):
        return Holding("still", reference, everything, frames, bad=bad)
    warps = {
        place: Warp(frame.to_reference, burst.size, frame.local)
        for place, frame in frames.items()
        if frame.used
    }
    region = everything
    if common:
        region = common_region([warp.spans for warp in warps.values()], burst.size[0])
    return Holding(model, reference, region, frames, warps, bad)


def _everything(burst: Burst) -> Region:
    width, height = burst.size
    return Region(range(height), range(width))
