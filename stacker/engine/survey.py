"""A look at a burst before it is exposed: one reading of the files, figures from small copies."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace

import cv2
import numpy as np

from stacker.burst import Burst
from stacker.burst.shooting import read_settings
from stacker.engine.copies import SpooledCopies, spooled_copies
from stacker.engine.look import Show, both
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import CLIPPING_SAMPLE, clipped_share, worker_count
from stacker.engine.progress import Progress, Silent
from stacker.engine.settings import Settings
from stacker.engine.span import span_of
from stacker.errors import BurstError, FrameError
from stacker.light.encoding import Encoding, LightArray, PixelArray, decode
from stacker.light.luminance import greatest_channel
from stacker.register import BurstMotion, register_frames, working_factor
from stacker.survey.analysis import analyse
from stacker.survey.brightness import Brightness, measure_brightness
from stacker.survey.burnt_out import BurntOut
from stacker.survey.held import held_source
from stacker.survey.hot_pixels import cut_strips, find_hot_pixels, frames_for
from stacker.survey.noise import (
    SIDE,
    Noise,
    PatchArray,
    measure_noise,
    pair_places,
    square_places,
)
from stacker.survey.records import FrameRecord, Survey
from stacker.survey.report import Seen, conclude
from stacker.survey.shake import places_of, stand_of
from stacker.survey.timing import rhythm_of
from stacker.survey.vetting import relative_sharpness, verdicts_of, with_lit
from stacker.version import PROGRAM

# copies are of at most so many pixels each, and all of them together take at most so many bytes
# of the disk; a long burst gets smaller ones, but never below what can still be registered
COPY_PIXELS, SMALLEST_COPY = 1_000_000, 200_000
SPOOL_BYTES = 10**9
SPOOLED_BYTES = 2
# noise at mid grey below this share of white is no camera's
LEAST_NOISE = 1e-4


@dataclass
class _Facts:
    """What is measured of full-size frames while they are at hand, by their place."""

    burst: Burst
    noise_at: frozenset[int]
    hot_at: frozenset[int]
    burnt: BurntOut
    clipped: dict[int, float] = field(default_factory=dict)
    black: dict[int, float] = field(default_factory=dict)
    squares: dict[int, PatchArray] = field(default_factory=dict)
    strips: dict[int, PixelArray] = field(default_factory=dict)

    def __call__(self, place: int, pixels: PixelArray) -> None:
        self.clipped[place] = clipped_share(pixels, self.burst.encoding)
        self.black[place] = black_share(pixels)
        self.burnt.add(pixels)
        if place in self.noise_at:
            self.squares[place] = self._squares(pixels)
        if place in self.hot_at:
            self.strips[place] = cut_strips(pixels)

    def _squares(self, pixels: PixelArray) -> PatchArray:
        """Return squares of green light at full size, float32 (S, side, side)."""
        cut = [
            decode(np.ascontiguousarray(pixels[y : y + SIDE, x : x + SIDE]), self.burst.encoding)
            for y, x in square_places(self.burst.size)
        ]
        return np.stack(cut)[..., 1] if cut else np.empty((0, SIDE, SIDE), np.float32)

    def noise(self) -> Noise | None:
        """Return the noise of frames that stood still; needs neighbours that could be read."""
        pairs = [
            (self.squares[place], self.squares[place + 1])
            for place in sorted(self.squares)
            if place + 1 in self.squares
        ]
        noise = measure_noise(pairs)
        # a clip that is compressed hard repeats its pixels, and has none to be told
        return noise if noise is not None and noise.at_mid_grey > LEAST_NOISE else None


def survey_burst(burst: Burst, settings: Settings, *, progress: Progress | None = None) -> Survey:
    """Return what is in a burst; parameters and errors are those of ``see_burst``."""
    return conclude(see_burst(burst, settings, progress=progress))


def see_burst(
    burst: Burst,
    settings: Settings,
    *,
    progress: Progress | None = None,
    also: Show | None = None,
) -> Seen:
    """Return everything that a survey measures of a burst.

    Parameters
    ----------
    settings : ``first``, ``last``, ``memory`` and ``workers`` count, nothing else. Frames that
        cannot be used are told of and passed over.
    also : shown each frame as it was decoded, from several threads; pixels are only lent.

    Raises
    ------
    OptionError
        The span lies beyond the burst.
    BurstError
        No frame of the span can be read.
    """
    progress = progress or Silent()
    span = span_of(burst, settings)
    places = [place for place in span if burst.frames[place].problem is None]
    firsts = [places[k] for k in pair_places(len(places))]
    hot_at = frozenset(places[k] for k in frames_for(len(places)))
    pairs = frozenset(firsts) | {place + 1 for place in firsts}
    facts = _Facts(burst, pairs, hot_at, BurntOut(burst.size, burst.encoding))
    workers = _workers(burst, settings)
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        with spooled_copies(
            burst, places, _factor(burst, len(places)), workers, progress, both(facts, also)
        ) as copies:
            readable = [place for place in places if place not in copies.bad]
            if not readable:
                raise _nothing_readable(burst, span, copies.bad)
            return _seen(burst, span, readable, copies, facts, workers, progress)
    finally:
        cv2.setNumThreads(threads)


def _seen(
    burst: Burst,
    span: range,
    readable: Sequence[int],
    copies: SpooledCopies,
    facts: _Facts,
    workers: int,
    progress: Progress,
) -> Seen:
    """Return what was measured once every frame has been read."""

    def source(index: int) -> LightArray:
        return copies(readable[index])

    motion, why_not = _motion(burst, source, len(readable), copies.factor, workers, progress)
    progress.start("comparing the frames", 2)
    starts = [burst.frames[place].start_s for place in readable]
    light = measure_brightness(
        held_source(source, motion, copies.factor),
        starts,
        Encoding("float32", burst.encoding.space),
    )
    progress.advance()
    records = _records(burst, span, readable, copies.bad, facts, motion, light)
    rhythm = rhythm_of([r.start_s for r in records], [r.shutter_s for r in records])
    where = [records[place - span.start].place for place in readable]
    stand = stand_of(motion, where, burst.size)
    analysis = analyse(
        source,
        motion,
        light,
        starts_s=starts,
        elapsed_s=rhythm.elapsed_s or 0.0,
        size=burst.size,
        factor=copies.factor,
        stand=stand,
        weights=burst.encoding.space.luminance_weights,
    )
    progress.advance()
    hot = find_hot_pixels(
        [facts.strips[place] for place in sorted(facts.strips)], burst.size, burst.encoding
    )
    if analysis is not None:
        at = {index: place - span.start for index, place in enumerate(readable)}
        records = with_lit(records, at, analysis.passing.lit, burst.size)
    return Seen(
        program=PROGRAM,
        size=burst.size,
        records=records,
        looked_at=tuple(place - span.start for place in readable),
        rhythm=rhythm,
        settings=tuple(asdict(read_settings(burst.frames[place].exif)) for place in span),
        warnings=burst.warnings,
        stills=len(burst.runs(span)) == len(span),
        motion=motion,
        why_not_held=why_not,
        stand=stand,
        light=light,
        analysis=analysis,
        noise=facts.noise() if stand == "tripod" else None,
        hot=hot,
        burnt=facts.burnt,
    )


def _motion(
    burst: Burst,
    source: Callable[[int], LightArray],
    count: int,
    factor: int,
    workers: int,
    progress: Progress,
) -> tuple[BurstMotion | None, str]:
    """Return where the frames looked, or why they cannot be held to one view."""
    progress.start("following the camera", count)
    done = [0]

    def tell(so_far: int, _: int) -> None:
        for _step in range(so_far - done[0]):
            progress.advance()
        done[0] = so_far

    if count < 2:
        return None, "there is one frame only"
    try:
        return register_frames(
            source,
            count,
            factor=factor,
            weights=burst.encoding.space.luminance_weights,
            workers=workers,
            on_frame=tell,
        ), ""
    except BurstError as error:
        return None, error.why


def _records(
    burst: Burst,
    span: range,
    readable: Sequence[int],
    bad: Mapping[int, FrameError],
    facts: _Facts,
    motion: BurstMotion | None,
    light: Brightness,
) -> tuple[FrameRecord, ...]:
    """Return what is known of each frame of the span."""
    index_of = {place: index for index, place in enumerate(readable)}
    where = places_of(motion, burst.size) if motion else [None] * len(readable)
    sharpness = relative_sharpness(motion)
    verdicts = verdicts_of(motion, light, sharpness)
    frames = [burst.frames[place] for place in span]
    rhythm = rhythm_of([f.start_s for f in frames], [f.shutter_s for f in frames])
    records = []
    for place, frame, gap_s in zip(span, frames, rhythm.gaps_s, strict=True):
        record = FrameRecord(place + 1, frame.name, frame.start_s, frame.shutter_s, gap_s)
        index = index_of.get(place)
        if index is None:
            problem = frame.problem or bad[place]
            records.append(replace(record, verdict="unreadable", why=problem.why))
            continue
        verdict, why = verdicts[index]
        records.append(
            replace(
                record,
                light_stops=float(light.stops[index]),
                clipped=facts.clipped[place],
                black=facts.black[place],
                sharpness=None if sharpness is None else sharpness[index],
                place=where[index],
                verdict=verdict,
                why=why,
            )
        )
    return tuple(records)


def black_share(pixels: PixelArray) -> float:
    """Return the share of pixels that are 0 in every channel, 0 to 1, by evenly spaced rows."""
    height, width = pixels.shape[:2]
    step = max(1, min(height, height * width // CLIPPING_SAMPLE))
    return float(np.mean(greatest_channel(pixels[step // 2 :: step]) <= 0))


def _factor(burst: Burst, count: int) -> int:
    """Return by how much the copies are reduced."""
    share = SPOOL_BYTES // SPOOLED_BYTES // max(1, count)
    return working_factor(burst.size, max(SMALLEST_COPY, min(COPY_PIXELS, share)))


def _workers(burst: Burst, settings: Settings) -> int:
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    return workers_within(settings.memory, worker_count(settings.workers), frame)[0]


def _nothing_readable(burst: Burst, span: range, bad: Mapping[int, FrameError]) -> BurstError:
    first = span[0]
    problem = burst.frames[first].problem or bad[first]
    return BurstError(
        burst.frames[first].name,
        f"no frame of {len(span)} can be used; of the first: {problem.why}",
        remedy="copy the files again from the card",
        code="burst-no-frames",
    )
