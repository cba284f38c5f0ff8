"""Finding out where frames looked, from small copies of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

import cv2

from stacker.burst import FILE_ENDS, Burst
from stacker.engine.copies import KEPT_BYTES, Copies, copies_of
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import offering_to_skip, worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.engine.watching import Watcher
from stacker.errors import BurstError, FrameError, OptionError, StackerError
from stacker.light.encoding import LightArray
from stacker.register import (
    BurstMotion,
    UnfitReferenceError,
    register_frames,
    register_sky,
    register_subject,
    sky_factor,
    standing_places,
    subject_factor,
    working_factor,
)
from stacker.register.subject.box import reduced_box

# what is kept per pixel of a copy: the reference with its tiles, and of frames that have been
# looked at together their grey, until the last of them is known
SHARED_PIXEL_BYTES = 140
# ... and by each thread while it looks: light, its root, slopes
WORKER_PIXEL_BYTES = 50

# frames that are looked at before any adds up: the rest are watched while they do
SAMPLE = 5
# ... of a clip from its first quarter
PART_OF_CLIP = 4


class Registering:
    """Registration of the frames of one burst, with threads and memory as the settings allow.

    Parameters
    ----------
    held_to : place of the frame that others are held to where ``settings`` name none; the
        sharpest near the middle if None.

    Raises
    ------
    OptionError
        The reference is none of the frames, the box lies beyond them, or the memory is too small.
    """

    def __init__(
        self,
        burst: Burst,
        places: Sequence[int],
        settings: Settings,
        progress: Progress,
        *,
        held_to: int | None = None,
    ) -> None:
        self.burst = burst
        self.places = list(places)
        self.settings = settings
        self.progress = progress
        self.held_to = held_to
        _reference(burst, places, settings)
        if settings.hold == "subject":
            # in one frame there is nothing to follow, but the box must lie in it all the same
            reduced_box(_box(settings), burst.size, 1)
        self.factor = _factor(burst, settings)
        frame = frame_bytes(
            burst.size,
            burst.encoding.stored,
            developed=burst.development is not None,
            corrected=burst.by_light,
        )
        copy = (burst.size[0] // self.factor) * (burst.size[1] // self.factor)
        self.workers, self.peak_bytes = workers_within(
            settings.memory,
            min(worker_count(settings.workers), max(1, len(self.places))),
            frame + WORKER_PIXEL_BYTES * copy,
            held=KEPT_BYTES + SHARED_PIXEL_BYTES * copy,
        )
        self.bad: dict[int, FrameError] = {}
        self._known: Copies | None = None

    def watcher(self) -> Watcher | None:
        """Return who watches the frames add up; None where the camera is not known to stand still.

        A few frames, spread over the burst, are looked at.
        """
        sample = _spread(self.burst, self.places)
        weights = self.burst.encoding.space.luminance_weights
        still = None
        with _one_thread_each(), self._copies(sample) as copies:
            while len(sample) > 1:
                self.progress.start("looking at the frames", len(sample) - 1)
                still = standing_places(
                    lambda number, sample=sample: copies(sample[number]),  # type: ignore[misc]
                    len(sample),
                    weights=weights,
                    workers=self.workers,
                    on_frame=self.progress.advance,
                )
                readable = [place for place in sample if place not in copies.bad]
                if len(readable) == len(sample):
                    break
                sample = readable
            if len(sample) < 2 or still is None:
                return None
            seen = [copies(place) for place in sample]
            watcher = Watcher(self.burst, self.factor, sample, seen, still)
        return watcher if watcher.can_tell else None

    def motion(self) -> tuple[list[int], BurstMotion | None]:
        """Return the frames that could be read, and their motion; none of fewer than two.

        Those that could not are in ``bad`` then.

        Raises
        ------
        FrameError
            A frame cannot be read and ``on_bad`` is "stop".
        BurstError
            There is nothing to hold on to.
        """
        if len(self.places) < 2:
            return self.places, None
        with _one_thread_each(), self._copies(self.places) as copies:
            readable, motion = _motion_of_readable(
                self.burst, copies, self.settings, self.held_to, self.workers, self.progress
            )
        self.bad = copies.bad
        return readable, motion

    @contextmanager
    def _copies(self, places: Sequence[int]) -> Iterator[Copies]:
        with copies_of(
            self.burst, places, self.factor, self.workers, self.progress, known=self._known
        ) as copies:
            self._known = copies
            yield copies


def _spread(burst: Burst, places: Sequence[int]) -> list[int]:
    """Return some of the places, evenly spread, the first and the last among them."""
    if len(burst.runs(places)) < len(places):
        # to come to the end of a clip all of it is decoded
        places = places[: max(SAMPLE, len(places) // PART_OF_CLIP)]
    count = min(len(places), SAMPLE)
    return [places[round(k * (len(places) - 1) / (count - 1))] for k in range(count)]


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Keep OpenCV's own threads from competing with those that work on frames."""
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(threads)


def _motion_of_readable(
    burst: Burst,
    copies: Copies,
    settings: Settings,
    held_to: int | None,
    workers: int,
    progress: Progress,
) -> tuple[list[int], BurstMotion | None]:
    """Return the frames that can be read and their motion, as if the others were not there."""
    while True:
        _stop_at_bad(copies.bad, settings)
        known = len(copies.bad)
        readable = [place for place in copies.places if place not in copies.bad]
        reference = _reference(burst, readable, settings)
        if reference is None and held_to in readable:
            reference = readable.index(held_to)
        if len(readable) < 2:
            return readable, None
        try:
            motion = _motion(burst, copies, readable, settings, reference, workers, progress)
        except UnfitReferenceError as error:
            if len(copies.bad) == known:
                name = burst.frames[readable[error.index]].name
                raise BurstError(name, error.why, remedy=error.remedy, code=error.code) from error
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
