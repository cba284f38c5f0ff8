"""One pass over the files: every frame is decoded once and added to every blend.

Each worker decodes a frame into its own buffer and adds it, stripe by stripe, to accumulators
that all workers share. A stripe takes frames strictly in their order: a worker that comes early
waits for its turn. So memory is one frame per worker, and the sum of what happened is the same
for any number of workers.
"""

from __future__ import annotations

import itertools
import os
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, field

import numpy as np

from stacker.blend import Accumulator, Blend, Intake, ValidMask
from stacker.burst import FILE_ENDS, Burst, LostFramesError
from stacker.engine.progress import Progress
from stacker.engine.settings import OnBad
from stacker.errors import FrameError
from stacker.light.buffers import scratch, zeros
from stacker.light.encoding import Encoding, LightArray, PixelArray, decode_into
from stacker.register import BAND_ROWS, Warp

# of a frame, per stripe: small enough that workers seldom wait, large enough for large pages
STRIPE_BYTES = 8 << 20
# what a worker takes besides for resampling: a stripe of light, and the tile that it works on
RESAMPLING_BYTES = 2 * STRIPE_BYTES
# pixels looked at to tell how much of a frame is clipped
CLIPPING_SAMPLE = 200_000

Watch = Callable[[int, PixelArray], None]


class Cancelled(Exception):  # noqa: N818 - a signal between threads, not an error
    """The pass is being given up; another thread knows why."""


@dataclass
class Stripe:
    """Some rows of the picture with an accumulator per blend, open to one frame at a time."""

    rows: range
    accumulators: list[Accumulator]
    turn: int = 0
    cancelled: bool = False
    changed: threading.Condition = field(default_factory=threading.Condition)

    def take(self, position: int, action: Callable[[], None] | None) -> None:
        """Wait for the turn of the frame at ``position``, act, and call the next one."""
        with self.changed:
            self.changed.wait_for(lambda: self.cancelled or self.turn == position)
            if self.cancelled:
                raise Cancelled
            if action is not None:
                action()
            self.turn += 1
            self.changed.notify_all()

    def cancel(self) -> None:
        """Let no frame in any more."""
        with self.changed:
            self.cancelled = True
            self.changed.notify_all()


@dataclass(frozen=True)
class FrameOutcome:
    """What came of one frame: its clipped share (0 to 1), or the error that kept it out."""

    clipped: float = 0.0
    error: FrameError | None = None


def make_stripes(
    blends: Sequence[Blend],
    intake: Intake,
    band: range,
    size: tuple[int, int],
    workers: int,
    *,
    align: int = 1,
) -> list[Stripe]:
    """Return empty stripes that cover the rows of ``band``.

    All but the first begin at whole multiples of ``align``.
    """
    width = size[0]
    row_bytes = width * 3 * np.dtype(intake.encoding.stored).itemsize
    count = max(workers, round(len(band) * row_bytes / STRIPE_BYTES))
    count = max(1, min(count, len(band) // 16))
    inner = {(band.start + len(band) * k // count) // align * align for k in range(1, count)}
    edges = [band.start, *sorted(edge for edge in inner if edge > band.start), band.stop]
    return [
        Stripe(range(top, bottom), [blend.start(intake, bottom - top, width) for blend in blends])
        for top, bottom in itertools.pairwise(edges)
    ]


class FramePass:
    """One pass of the frames at ``places`` of the burst over the stripes.

    ``brightest_frame`` is the light beyond which a frame cannot be blended. ``warps`` say how
    each frame is resampled, by its place; where there are none, frames are used as they lie.
    ``masked`` is whether to tell the blends what a resampled frame does not cover. ``watch`` is
    shown each frame that is added, by its place and its pixels, which are only lent.
    """

    def __init__(
        self,
        burst: Burst,
        places: Sequence[int],
        stripes: Sequence[Stripe],
        *,
        brightest_frame: float,
        on_bad: OnBad,
        progress: Progress,
        warps: Mapping[int, Warp] | None = None,
        masked: bool = False,
        watch: Watch | None = None,
    ) -> None:
        self.burst = burst
        self.places = list(places)
        self.stripes = stripes
        self.brightest_frame = brightest_frame
        self.on_bad = on_bad
        self.progress = progress
        self.warps = warps or {}
        self.masked = masked
        self.watch = watch
        self.outcomes: dict[int, FrameOutcome] = {}
        self._buffers = threading.local()
        self._cancelled = threading.Event()
        self._first_bad: int | None = None

    def run(self, workers: int) -> dict[int, FrameOutcome]:
        """Return what came of each frame, by its place in the burst.

        Raises
        ------
        FrameError
            A frame is bad and bad frames are not skipped: the earliest one.
        """
        position = {place: number for number, place in enumerate(self.places)}
        with ThreadPoolExecutor(workers, thread_name_prefix="frames") as pool:
            futures = [
                pool.submit(self._work, run, position) for run in self._neighbouring_runs(position)
            ]
            try:
                wait(futures)
            except BaseException:
                self._cancel()
                for future in futures:
                    future.cancel()
                raise
        self._raise_first(faults=[f.exception() for f in futures if not f.cancelled()])
        return self.outcomes

    def _neighbouring_runs(self, position: dict[int, int]) -> list[tuple[int, ...]]:
        """Return runs of frames to be decoded together, split where others lie between."""
        runs: list[tuple[int, ...]] = []
        for run in self.burst.runs(self.places):
            start = 0
            for k in range(1, len(run) + 1):
                if k == len(run) or position[run[k]] != position[run[k - 1]] + 1:
                    runs.append(run[start:k])
                    start = k
        # workers take runs in this order, so whoever is waited for has begun
        return sorted(runs)

    def _work(self, run: tuple[int, ...], position: dict[int, int]) -> None:
        """Decode a run of frames and let each of them in at its turn."""
        try:
            for place, found in self._frames_of(run, position):
                if isinstance(found, FrameError):
                    self._leave_out(place, position[place], found)
                else:
                    self._add(place, position[place], found)
        except Cancelled:
            # whoever waits for this run's turn would wait for ever
            self._cancel()
        except BaseException:
            self._cancel()
            raise

    def _frames_of(
        self, run: tuple[int, ...], position: dict[int, int]
    ) -> Iterator[tuple[int, PixelArray | FrameError]]:
        """Yield each frame's place with its pixels, or with the error that keeps it out.

        After an error in a file of several frames the rest of them is asked for again.
        """
        left = list(run)
        while left:
            try:
                for place, pixels in self._decoded(tuple(left), position[left[0]]):
                    self._refuse_beyond_blending(place, pixels)
                    yield place, pixels
                    left.remove(place)
            except FrameError as error:
                lost = self._lost_with(error, left)
                for place in left[:lost]:
                    yield place, error
                del left[:lost]
            else:
                if left:
                    raise RuntimeError(f"frame {left[0]} was never decoded")

    def _lost_with(self, error: FrameError, left: list[int]) -> int:
        """Return how many of the frames that are left an error keeps out, from the first on."""
        if error.code == FILE_ENDS:
            return len(left)
        resumes = error.resumes if isinstance(error, LostFramesError) else None
        numbers = [self.burst.frames[place].number for place in left]
        return max(1, sum(number < (resumes or 0) for number in numbers))

    def _decoded(self, run: tuple[int, ...], position: int) -> Iterator[tuple[int, PixelArray]]:
        """Return the frames of a run in this worker's buffer, one after the other."""
        # frames before the first bad one are still read: an earlier one may be bad as well
        behind = self._first_bad is not None and position > self._first_bad
        if behind or self._cancelled.is_set():
            raise Cancelled
        encoding = self.burst.encoding
        width, height = self.burst.size
        if not hasattr(self._buffers, "pixels"):
            self._buffers.pixels = zeros((height, width, 3), encoding.stored)
        return self.burst.decode(run, out=self._buffers.pixels)

    def _refuse_beyond_blending(self, place: int, pixels: PixelArray) -> None:
        """Refuse light too bright to be added up exactly, before any blend has taken it."""
        if not self.burst.encoding.is_light:
            return
        brightest = float(pixels.max())
        if brightest > self.brightest_frame:
            raise FrameError(
                self.burst.frames[place].name,
                f"it holds values up to {brightest:.4g}, where white is 1.0",
                remedy="scale the files so that white is 1.0",
                code="frame-bad-values",
            )

    def _add(self, place: int, position: int, pixels: PixelArray) -> None:
        clipped = clipped_share(pixels, self.burst.encoding)
        if self.watch is not None:
            # before the frame's turn: others may be added meanwhile
            self.watch(place, pixels)
        warp = self.warps.get(place)
        for stripe in self.stripes:
            if warp is None:
                rows, valid = pixels[stripe.rows.start : stripe.rows.stop], None
            else:
                # before the stripe's turn: others may resample meanwhile
                rows = scratch("stripe", (len(stripe.rows), pixels.shape[1], 3), np.float32)
                resampled_rows(warp, pixels, self.burst.encoding, stripe.rows, out=rows)
                valid = warp.valid(stripe.rows.start, stripe.rows.stop) if self.masked else None

            def add(
                stripe: Stripe = stripe,
                rows: PixelArray = rows,
                valid: ValidMask | None = valid,
            ) -> None:
                for accumulator in stripe.accumulators:
                    accumulator.add(rows, index=place, valid=valid)

            stripe.take(position, add)
        self.outcomes[place] = FrameOutcome(clipped)
        self.progress.advance()

    def _leave_out(self, place: int, position: int, error: FrameError) -> None:
        """Let a frame that could not be had pass its turn without a trace."""
        self.outcomes[place] = FrameOutcome(error=error)
        if self._stops_at(error):
            known = len(self.places) if self._first_bad is None else self._first_bad
            self._first_bad = min(position, known)
        for stripe in self.stripes:
            stripe.take(position, None)
        self.progress.advance()

    def _cancel(self) -> None:
        self._cancelled.set()
        for stripe in self.stripes:
            stripe.cancel()

    def _raise_first(self, faults: Sequence[BaseException | None]) -> None:
        for fault in faults:
            if fault is not None:
                raise fault
        for place in self.places:
            outcome = self.outcomes.get(place)
            if outcome is not None and outcome.error is not None and self._stops_at(outcome.error):
                raise offering_to_skip(outcome.error)

    def _stops_at(self, error: FrameError) -> bool:
        """Whether a bad frame ends the pass; a clip's lost tail is only told."""
        return self.on_bad == "stop" and error.code != FILE_ENDS


def resampled_rows(
    warp: Warp, pixels: PixelArray, encoding: Encoding, rows: range, *, out: LightArray
) -> None:
    """Write some rows of a frame as the reference sees them to ``out``, float32 (rows, W, 3)."""

    def light_of(rows: slice, columns: slice) -> LightArray:
        part = pixels[rows, columns]
        light = scratch("light of a tile", part.shape, np.float32)
        decode_into(part, encoding, light)
        return light

    top = rows.start
    while top < rows.stop:
        bottom = min(rows.stop, (top // BAND_ROWS + 1) * BAND_ROWS)
        warp.resample(light_of, top, bottom, out=out[top - rows.start : bottom - rows.start])
        top = bottom


def offering_to_skip(error: FrameError) -> FrameError:
    """Return the error with the way around it added to what can be done."""
    remedy = f"{error.remedy}, or go on without it: --on-bad skip".removeprefix(", or ")
    told = FrameError(error.where, error.why, remedy=remedy, code=error.code)
    told.__cause__ = error
    return told


def clipped_share(pixels: PixelArray, encoding: Encoding) -> float:
    """Return the share of pixels in which a channel is at its limit, 0 to 1.

    Large frames are judged by evenly spaced rows.
    """
    height, width = pixels.shape[:2]
    step = max(1, min(height, height * width // CLIPPING_SAMPLE))
    sample = pixels[step // 2 :: step]
    limit = 1.0 if encoding.is_light else encoding.top
    at_limit = (sample >= limit).reshape(-1, 3)
    return float(np.count_nonzero(at_limit[:, 0] | at_limit[:, 1] | at_limit[:, 2])) / len(at_limit)


def worker_count(wished: int | None) -> int:
    """Return the number of threads: the wished one, or one per processor there is."""
    if wished is not None:
        return wished
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
