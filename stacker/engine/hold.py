"""Where the frames of a burst looked, found before they add up, and what of the picture all saw."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from io import FileIO

import cv2
import numpy as np

from stacker.burst import FILE_ENDS, Burst
from stacker.engine.cover import Region, common_region
from stacker.engine.look import Look
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import FrameOutcome, offering_to_skip, worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.errors import FrameError, OptionError, OutputError, StackerError
from stacker.light.encoding import Encoding, LightArray, PixelArray
from stacker.light.luminance import luminance
from stacker.light.reduce import reduce_light
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
from stacker.register.scene.grey import BURNT_OUT, GreyArray

# float16 holds light to a 2000th: far below the noise of a frame of a clip
SPOOLED = np.dtype("float16")


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
        if len(places) < 2:
            return list(places), None, {}
        with _copies(burst, places, _factor(burst, settings), workers, progress) as copies:
            readable, motion = _motion_of_readable(burst, copies, settings, workers, progress)
    finally:
        cv2.setNumThreads(threads)
    return readable, motion, {p: FrameOutcome(error=error) for p, error in copies.bad.items()}


def _motion_of_readable(
    burst: Burst, copies: _Copies, settings: Settings, workers: int, progress: Progress
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
    copies: _Copies,
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


class _Copies:
    """Reduced light of each frame, by its place in the burst; black where there is none."""

    def __init__(self, burst: Burst, places: Sequence[int], factor: int) -> None:
        self.burst = burst
        self.places = places
        self.factor = factor
        self.size = (burst.size[0] // factor, burst.size[1] // factor)
        self.bad: dict[int, FrameError] = {}

    def __call__(self, place: int) -> LightArray:
        """Return the light, float32 (h, w, 3)."""
        try:
            return self.burst.reduced_light(place, self.factor)
        except FrameError as error:
            self.bad[place] = error
            return np.zeros((self.size[1], self.size[0], 3), np.float32)


class _SpooledCopies(_Copies):
    """The same for files of many frames, which are read from their beginning to their end.

    Registration goes from the reference both ways and comes back to some frames; a clip decoded
    so would be decoded many times. Its copies wait on disk, so that memory stays bounded.
    """

    def __init__(self, burst: Burst, places: Sequence[int], factor: int, spool: FileIO) -> None:
        super().__init__(burst, places, factor)
        self.spool = spool
        self.turn = threading.Lock()
        self.number_of = {place: number for number, place in enumerate(places)}

    def fill(self, workers: int, progress: Progress) -> None:
        """Read all frames."""
        weights = self.burst.encoding.space.luminance_weights
        progress.start("looking at the frames", len(self.places))

        def show(place: int, pixels: PixelArray) -> None:
            light = reduce_light(pixels, self.burst.encoding, self.factor)
            bright = luminance(light, weights)
            # one channel stands for all; where any is burnt out, the copy is
            bright[light.max(axis=2) >= BURNT_OUT] = 1.0
            self._put(place, bright)
            progress.advance()

        def fail(place: int, error: FrameError) -> None:
            self.bad[place] = error
            progress.advance()

        Look(self.burst, workers).at(self.places, show, fail)

    def __call__(self, place: int) -> LightArray:
        """Return the light, float32 (h, w, 3), the same in every channel."""
        width, height = self.size
        spooled = np.zeros((height, width), SPOOLED)
        # the copy of a frame that could not be read was never put there
        if place not in self.bad:
            with self.turn:
                self.spool.seek(self.number_of[place] * spooled.nbytes)
                self.spool.readinto(spooled.data)
        return np.repeat(spooled.astype(np.float32)[:, :, np.newaxis], 3, axis=2)

    def _put(self, place: int, bright: GreyArray) -> None:
        # written, not mapped: a mapped file on a full disk kills the program without a word
        spooled = bright.astype(SPOOLED)
        with self.turn, _told():
            self.spool.seek(self.number_of[place] * spooled.nbytes)
            rest = spooled.data.cast("B")
            while rest:
                rest = rest[self.spool.write(rest) :]


@contextmanager
def _told() -> Iterator[None]:
    """Turn the system's errors into a sentence about temporary files."""
    try:
        yield
    except OSError as error:
        raise OutputError(
            "temporary files",
            f"copies of the frames cannot be kept there ({error.strerror or error})",
            remedy="free some space, or name another folder in the environment variable TMPDIR",
            code="temporary-file",
        ) from error


@contextmanager
def _copies(
    burst: Burst, places: Sequence[int], factor: int, workers: int, progress: Progress
) -> Iterator[_Copies]:
    """Give the copies that registration looks at."""
    plain = _Copies(burst, places, factor)
    if len(burst.runs(places)) == len(places):
        yield plain
        return
    with ExitStack() as stack:
        with _told():
            spool = stack.enter_context(tempfile.TemporaryFile(buffering=0))
        spooled = _SpooledCopies(burst, places, factor, spool)
        spooled.fill(workers, progress)
        yield spooled
