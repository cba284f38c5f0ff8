"""Where the frames of a burst looked, found before they add up, and what of the picture all saw."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import cv2

from stacker.burst import FILE_ENDS, Burst
from stacker.engine.copies import Copies, copies_of
from stacker.engine.cover import Region, common_region
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import FrameOutcome, offering_to_skip, worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.errors import FrameError, OptionError, StackerError
from stacker.light.encoding import Encoding, LightArray
from stacker.register import (
    BAND_ROWS,
    BurstMotion,
    FrameMotion,
    Warp,
    register_frames,
    register_sky,
    register_subject,
    sky_factor,
    subject_factor,
    working_factor,
)
from stacker.register.subject.box import reduced_box


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
    """

    model: str
    reference: int | None
    region: Region
    frames: Mapping[int, FrameMotion] = field(default_factory=dict)
    warps: Mapping[int, Warp] = field(default_factory=dict)
    bad: Mapping[int, FrameOutcome] = field(default_factory=dict)

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
            (warp.spans[rows.start : rows.stop, 0] > columns.start).any()
            or (warp.spans[rows.start : rows.stop, 1] < columns.stop).any()
            for warp in self.warps.values()
        )

    @property
    def align(self) -> int:
        """Rows may be cut at whole multiples of this."""
        return BAND_ROWS if self.warps else 1

    def encoding_of(self, burst: Burst) -> Encoding:
        """Return the encoding in which frames reach the blends: resampled ones are light."""
        if not self.warps:
            return burst.encoding
        return Encoding("float32", burst.encoding.space)


def hold(burst: Burst, places: Sequence[int], settings: Settings, progress: Progress) -> Holding:
    """Return how the frames at ``places`` are put upon each other.

    Raises
    ------
    OptionError
        The reference named is none of the frames.
    BurstError
        There is nothing to hold on to.
    FrameError
        A frame cannot be read and ``settings.on_bad`` is "stop".
    """
    width, height = burst.size
    everything = Region(range(height), range(width))
    if settings.hold == "still":
        return Holding("identity", None, everything)
    readable, motion, bad = _registered(burst, places, settings, progress)
    if motion is None:
        return Holding("identity", None, everything, bad=bad)
    frames = dict(zip(readable, motion.frames, strict=True))
    reference = readable[motion.reference]
    if motion.is_still:
        return Holding("still", reference, everything, frames, bad=bad)
    warps = {
        place: Warp(frame.to_reference, burst.size, frame.local)
        for place, frame in frames.items()
        if frame.used
    }
    region = everything
    if settings.crop == "common" or (settings.crop is None and settings.hold != "subject"):
        region = common_region([warp.spans for warp in warps.values()], width)
    return Holding(motion.motion_model, reference, region, frames, warps, bad)


def _registered(
    burst: Burst, places: Sequence[int], settings: Settings, progress: Progress
) -> tuple[list[int], BurstMotion | None, dict[int, FrameOutcome]]:
    """Return the frames that could be read, their motion, and those that could not.

    There is no motion where fewer than two are left.
    """
    workers = workers_within(
        settings.memory,
        worker_count(settings.workers),
        frame_bytes(
            burst.size,
            burst.encoding.stored,
            developed=burst.development is not None,
            corrected=burst.by_light,
        ),
    )
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        _reference(burst, places, settings)
        if settings.hold == "subject":
            # in one frame there is nothing to follow, but the box must lie in it all the same
            reduced_box(_box(settings), burst.size, 1)
        if len(places) < 2:
            return list(places), None, {}
        with copies_of(burst, places, _factor(burst, settings), workers, progress) as copies:
            readable, motion = _motion_of_readable(burst, copies, settings, workers, progress)
    finally:
        cv2.setNumThreads(threads)
    return readable, motion, {p: FrameOutcome(error=error) for p, error in copies.bad.items()}


def _motion_of_readable(
    burst: Burst, copies: Copies, settings: Settings, workers: int, progress: Progress
) -> tuple[list[int], BurstMotion | None]:
    """Return the frames that can be read and their motion, as if the others were not there."""
    while True:
        _stop_at_bad(copies.bad, settings)
        known = len(copies.bad)
        readable = [place for place in copies.places if place not in copies.bad]
        reference = _reference(burst, readable, settings)
        if len(readable) < 2:
            return readable, None
        try:
            motion = _motion(burst, copies, readable, settings, reference, workers, progress)
        except StackerError:
            # a frame that cannot be read comes before anything that follows from it
            if len(copies.bad) == known:
                raise
        if len(copies.bad) == known:
            return readable, motion


def _factor(burst: Burst, settings: Settings) -> int:
    """Return by how much the copies are reduced that registration looks at."""
    if settings.hold == "subject":
        return subject_factor(burst.size, _box(settings))
    if settings.hold == "sky":
        return sky_factor(burst.size)
    return working_factor(burst.size)


def _box(settings: Settings) -> tuple[float, float, float, float]:
    assert settings.box is not None
    x, y, width, height = settings.box
    return x, y, width, height


def _motion(
    burst: Burst,
    copies: Copies,
    places: Sequence[int],
    settings: Settings,
    reference: int | None,
    workers: int,
    progress: Progress,
) -> BurstMotion:
    """Return where the frames at ``places`` looked, held to what the settings say."""
    weights = burst.encoding.space.luminance_weights
    progress.start("registering", len(places))
    done = [0]

    def tell(count: int, _: int) -> None:
        for _ in range(count - done[0]):
            progress.advance()
        done[0] = count

    def source(number: int) -> LightArray:
        return copies(places[number])

    if settings.hold == "subject":
        return register_subject(
            source,
            len(places),
            box=_box(settings),
            factor=copies.factor,
            weights=weights,
            reference=reference or 0,
            size=burst.size,
            workers=workers,
            on_frame=tell,
        )
    if settings.hold == "sky":
        return register_sky(
            source,
            len(places),
            size=burst.size,
            factor=copies.factor,
            starts_s=[burst.frames[place].start_s for place in places],
            weights=weights,
            reference=reference,
            workers=workers,
            on_frame=tell,
        )
    return register_frames(
        source,
        len(places),
        factor=copies.factor,
        weights=weights,
        reference=reference,
        workers=workers,
        on_frame=tell,
    )


def _stop_at_bad(bad: Mapping[int, FrameError], settings: Settings) -> None:
    for _, error in sorted(bad.items()):
        if settings.on_bad == "stop" and error.code != FILE_ENDS:
            raise offering_to_skip(error)


def _reference(burst: Burst, places: Sequence[int], settings: Settings) -> int | None:
    """Return the index among ``places`` of the frame named as the reference."""
    # without any frame there are other things to tell
    if settings.reference is None or not places:
        return None
    for index, place in enumerate(places):
        if settings.reference in (burst.frames[place].name, str(place + 1)):
            return index
    raise OptionError(
        f"--reference {settings.reference}",
        "is none of the frames that can be used",
        remedy=f"name one such as {burst.frames[places[0]].name}, or give its number",
        code="option-reference",
    )
