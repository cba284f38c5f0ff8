"""One burst at a ladder of shutter times, from one pass over its files."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, cast

import cv2
import numpy as np

from stacker.blend import Blend, Intake, find_blend
from stacker.burst import Burst
from stacker.engine.bridging import Bridged
from stacker.engine.expose import as_set
from stacker.engine.memory import PassPlan, plan_passes
from stacker.engine.passes import FrameOutcome, FramePass, Stripe, make_stripes, worker_count
from stacker.engine.progress import Progress, Silent
from stacker.engine.ready import Ready, make_ready
from stacker.engine.report import make_report, open_time
from stacker.engine.rungs import Copies, FrameSampler, Rungs, RungTaker, up_to
from stacker.engine.settings import Settings
from stacker.engine.shot import Piece, Shot
from stacker.engine.shutters import counts_for, dial_time, doubling_counts
from stacker.engine.span import span_of, weights_of
from stacker.engine.spool import Spool
from stacker.engine.verdict import EMPTYING_BLENDS, STREAK_BLENDS, Measure, suits_best
from stacker.errors import BurstError, OptionError
from stacker.light.encoding import Encoding, Picture, as_light
from stacker.survey import (
    contrast_left,
    find_movement,
    light_at_rest,
    longest_streak,
    strangeness_left,
)
from stacker.version import PROGRAM

# frames looked at to tell what moves, spread over the burst: more tell little that is new
SAMPLED_FRAMES = 16
# what is measured are copies of at most so many pixels: texture is judged as a viewer sees it
COPY_PIXELS = 1_600_000
LEAST_FRAMES = 2


@dataclass(frozen=True, eq=False)
class Rung:
    """One exposure of a ladder.

    Parameters
    ----------
    label : its shutter time as photographers write it, or its number of frames.
    frames : how many frames it was made from.
    shot : the exposure; its picture waits in a temporary file.
    measure : how smooth it is, or how long its streaks are.
    """

    label: str
    frames: int
    shot: Shot
    measure: Measure


@dataclass(frozen=True, eq=False)
class Ladder:
    """One burst at several shutter times.

    Parameters
    ----------
    rungs : in rising time.
    proposed : the number of the rung that suits, from 0.
    why : why it does, as a clause.
    report : the report of the longest rung, with the others' figures under ``rungs``.
    """

    rungs: tuple[Rung, ...]
    proposed: int
    why: str
    report: dict[str, Any]


def ladder_burst(
    burst: Burst,
    settings: Settings,
    *,
    shutters_s: Sequence[float] | None = None,
    progress: Progress | None = None,
) -> Ladder:
    """Return the exposures of 1, 2, 4, 8 frames and so on, or of given times.

    All begin with the first frame of the span. Frames are decoded and held once.

    Parameters
    ----------
    settings : with one blend.
    shutters_s : open times in seconds; each rung takes the frames that come nearest.

    Raises
    ------
    StackerError
        The settings or the burst do not allow it.
    """
    progress = progress or Silent()
    # what is wrong with the settings is told before anything is read
    rungs_ahead(burst, settings, shutters_s)
    ready = make_ready(burst, settings, progress)
    blend = as_set(find_blend(settings.blends[0]), settings, ready.burst, ready.weights)
    while True:
        places = ready.places
        ends = tuple(places[count - 1] for count in _counts(burst, places, shutters_s))
        made = _Pass(ready, blend, ends, settings, progress)
        outcomes = made.run()
        bad = {place: outcome for place, outcome in outcomes.items() if outcome.error is not None}
        if not bad:
            break
        # rungs are counted in frames: without the bad ones they are others
        ready = ready.without(bad)
    measures = made.measures()
    rungs = []
    for number, measure in enumerate(measures):
        count = made.frames_of(number)
        shot = made.shot(number, outcomes)
        rungs.append(Rung(_label(shot.open_s, count), count, shot, measure))
    proposed, why = suits_best(measures)
    return Ladder(tuple(rungs), proposed, why, _report(rungs, proposed, why, made))


def rungs_ahead(
    burst: Burst, settings: Settings, shutters_s: Sequence[float] | None
) -> list[tuple[str, int]]:
    """Return the label and the number of frames of each rung, if no frame is left out later.

    Raises
    ------
    StackerError
        As ``ladder_burst``, as far as it can be told before anything is read.
    """
    _refuse_what_has_no_ladder(settings)
    span = span_of(burst, settings)
    weights = weights_of(burst, span, settings)
    places = [place for place in span if weights[place] > 0]
    counts = _counts(burst, places, shutters_s)
    return [(_label(open_time(burst, places[:n], weights), n), n) for n in counts]


def _label(open_s: float | None, frames: int) -> str:
    return dial_time(open_s) if open_s else f"{frames} frame{'s' if frames > 1 else ''}"


def _refuse_what_has_no_ladder(settings: Settings) -> None:
    refused = {
        "--floor true": settings.floor == "true",
        "--tail": settings.tail_s is not None,
        "--bridge": bool(settings.bridge),
        "--weights": settings.weights is not None,
        "--ramp-in, --ramp-out": settings.ramp_in_s > 0 or settings.ramp_out_s > 0,
        f"--blend {','.join(settings.blends)}": len(settings.blends) > 1,
    }
    for option, given in refused.items():
        if given:
            raise OptionError(
                option,
                "a ladder has one plain blend",
                remedy="choose the time by the ladder, then make that picture by stacker expose",
                code="option-ladder",
            )


def _counts(
    burst: Burst, places: Sequence[int], shutters_s: Sequence[float] | None
) -> tuple[int, ...]:
    """Return how many of the frames at ``places`` each rung takes."""
    if len(places) < LEAST_FRAMES:
        raise BurstError(
            burst.frames[places[0]].name if places else "the burst",
            "one frame makes no ladder",
            remedy=f"give at least {LEAST_FRAMES}",
            code="burst-one-frame",
        )
    if shutters_s is None:
        return doubling_counts(len(places))
    return counts_for([burst.frames[place] for place in places], shutters_s)


class _Pass:
    """The pass over the frames, with what it leaves: pieces of pictures, and small copies."""

    def __init__(
        self,
        ready: Ready,
        blend: Blend,
        ends: tuple[int, ...],
        settings: Settings,
        progress: Progress,
    ) -> None:
        self.ready, self.settings, self.progress = ready, settings, progress
        self.blend, self.ends = blend, ends
        self.places = [place for place in ready.places if place <= ends[-1]]
        burst, holding = ready.burst, ready.holding
        weights = tuple(w if p <= ends[-1] else 0.0 for p, w in enumerate(ready.weights))
        self.intake = Intake(
            holding.encoding_of(burst), weights, masked=holding.masked, ordered=True
        )
        count = min(SAMPLED_FRAMES, len(self.places))
        chosen = np.linspace(0, len(self.places) - 1, count).round().astype(int)
        self.sampled = [self.places[k] for k in chosen]
        self.factor = _copy_factor(burst.size)
        self.frame_copies = Copies(burst.size, self.factor, len(self.sampled))
        self.rung_copies = Copies(burst.size, self.factor, len(ends))
        self.spool = Spool()
        self.pieces: list[dict[int, Piece]] = [{} for _ in ends]
        self.plan = self._planned()

    def _planned(self) -> PassPlan:
        copies = self.frame_copies.pictures + self.rung_copies.pictures
        return plan_passes(
            [Rungs(self.blend, self.ends)],
            self.intake,
            self.ready.holding.region.rows,
            self.ready.burst.size[0],
            workers=min(worker_count(self.settings.workers), len(self.places)),
            memory=self.settings.memory,
            frame=self.ready.frame_bytes,
            held=self.ready.prepared.held_bytes + sum(copy.nbytes for copy in copies),
            align=math.lcm(self.ready.holding.align, self.factor),
        )

    def run(self) -> dict[int, FrameOutcome]:
        """Return what came of each frame; stop at the first band that meets a bad one."""
        outcomes: dict[int, FrameOutcome] = {}
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            self.progress.start("blending", len(self.places) * len(self.plan.bands))
            for band in self.plan.bands:
                frame_pass = FramePass(
                    self.ready.burst,
                    self.places,
                    self._stripes(band),
                    brightest_frame=self.blend.brightest_frame(self.intake),
                    on_bad=self.settings.on_bad,
                    progress=self.progress,
                    warps=self.ready.holding.warps,
                    masked=self.ready.holding.masked,
                )
                outcomes |= frame_pass.run(self.plan.workers)
                if any(outcome.error is not None for outcome in outcomes.values()):
                    break
        finally:
            cv2.setNumThreads(threads)
        return outcomes

    def _stripes(self, band: range) -> list[Stripe]:
        align = math.lcm(self.ready.holding.align, self.factor)
        size = self.ready.burst.size
        stripes = make_stripes(
            [Rungs(self.blend, self.ends)], self.intake, band, size, self.plan.workers, align=align
        )
        for stripe in stripes:
            cast(RungTaker, stripe.accumulators[0]).take = partial(self._take, stripe.rows.start)
            stripe.accumulators.append(
                FrameSampler(
                    self.intake,
                    stripe.rows,
                    size[0],
                    copies=self.frame_copies,
                    sampled=self.sampled,
                )
            )
        return stripes

    def _take(self, top: int, number: int, picture: Picture) -> None:
        """Put away a piece of a rung, the first row of which is ``top``."""
        self.pieces[number][top] = self.spool.put(picture)
        # what adds up gets brighter with every frame: it is measured as bright as one
        scale = 1 / self.frames_of(number) if self.blend.name == "sum" else 1.0
        encoding = Encoding("float32", self.ready.burst.encoding.space)
        self.rung_copies.put(number, as_light(picture), encoding, top, scale)

    def measures(self) -> list[Measure]:
        """Return how smooth each rung is, or how long its streaks are."""
        region, factor = self.ready.holding.region, self.factor
        cells = tuple(
            slice(-(-part.start // factor), part.stop // factor)
            for part in (region.rows, region.columns)
        )
        frames = [np.ascontiguousarray(each[cells]) for each in self.frame_copies.pictures]
        rungs = [np.ascontiguousarray(each[cells]) for each in self.rung_copies.pictures]
        if min(frames[0].shape) == 0 or len(frames) < LEAST_FRAMES:
            return [Measure() for _ in rungs]
        movement = find_movement(frames, valid=self.frame_copies.valid[cells])
        if self.blend.name in STREAK_BLENDS:
            rest = light_at_rest(frames)
            return [
                Measure(streak_px=longest_streak(each, rest, movement.noise_sigma) * factor)
                for each in rungs
            ]
        if not movement.found:
            return [Measure() for _ in rungs]
        vanishing = self.blend.name in EMPTYING_BLENDS
        if vanishing:
            rest = light_at_rest(frames)
            left = [strangeness_left(each, frames, rest, movement) for each in rungs]
        else:
            left = [
                contrast_left(each, movement, noise_share=1 / self.frames_of(number))
                for number, each in enumerate(rungs)
            ]
        return [Measure(contrast_left=each, vanishing=vanishing) for each in left]

    def frames_of(self, number: int) -> int:
        """Return how many frames a rung takes."""
        return self.places.index(self.ends[number]) + 1

    def shot(self, number: int, outcomes: Mapping[int, FrameOutcome]) -> Shot:
        """Return a rung as an exposure."""
        ready, burst, holding = self.ready, self.ready.burst, self.ready.holding
        end = self.ends[number]
        intake = up_to(self.intake, end)
        used = [place for place in self.places if place <= end]
        span = range(ready.span.start, end + 1)
        known = {**ready.outcomes, **outcomes}
        return Shot(
            pieces=[piece for _, piece in sorted(self.pieces[number].items())],
            columns=holding.region.columns,
            size=holding.region.size,
            space=burst.encoding.space,
            brightest=self.blend.brightest(intake),
            open_s=open_time(burst, used, intake.weights),
            exif=burst.frames[used[0]].exif,
            sources=frozenset(burst.sources) | ready.prepared.sources,
            report=make_report(
                ready.prepared,
                holding,
                dataclasses.replace(
                    self.settings, first=span.start + 1, last=span.stop, shutter_s=None
                ),
                blend=self.blend.name,
                program=PROGRAM,
                span=span,
                weights=intake.weights,
                outcomes={place: each for place, each in known.items() if place in span},
                plan=self.plan,
                bridged=Bridged(),
            ),
        )


def _copy_factor(size: tuple[int, int]) -> int:
    """Return by how much the copies that are measured are reduced: a power of two."""
    factor = 1
    while size[0] * size[1] > COPY_PIXELS * factor**2:
        factor *= 2
    return factor


def _report(rungs: Sequence[Rung], proposed: int, why: str, made: _Pass) -> dict[str, Any]:
    last = rungs[-1].shot.report
    told = [
        {
            "label": rung.label,
            "frames": rung.frames,
            "last": rung.shot.report["settings"]["last"],
            "open_s": rung.shot.open_s,
            "elapsed_s": rung.shot.report["elapsed_s"],
            **dataclasses.asdict(rung.measure),
            "words": rung.measure.words,
            "file": None,
        }
        for rung in rungs
    ]
    return {
        **last,
        "rungs": told,
        "proposed": {"rung": proposed + 1, "label": rungs[proposed].label, "why": why},
        "measured": {"frames": len(made.sampled), "pixels_a_cell": made.factor},
    }
