"""The main job: a burst becomes one long exposure, or several in the same pass."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import cast

import cv2

from stacker.blend import Accumulator, Blend, Intake, find_blend
from stacker.blend.lighten import Lighten
from stacker.blend.trimmed import Trimmed
from stacker.burst import Burst
from stacker.engine.bridging import Bridged, bridge_gaps, bridge_plan, if_affordable
from stacker.engine.doubts import doubts_of
from stacker.engine.dusk import told_of_dusk
from stacker.engine.hold import hold_again
from stacker.engine.holding import Holding, resampled_intake
from stacker.engine.keep_bursts import keep_bursts
from stacker.engine.laid import BridgedPiece, LaidLight
from stacker.engine.memory import RESULT_PIXEL_BYTES, PassPlan, frame_bytes, plan_passes
from stacker.engine.noise_gain import told_of_noise
from stacker.engine.pan import told_of_pan
from stacker.engine.passes import (
    RESAMPLING_BYTES,
    FrameOutcome,
    FramePass,
    make_stripes,
    worker_count,
)
from stacker.engine.planes import take_out_planes
from stacker.engine.poses import told_of_poses
from stacker.engine.prepare import Prepared, prepare
from stacker.engine.progress import Progress
from stacker.engine.ready import known_bad, nothing_left
from stacker.engine.report import make_report, open_time
from stacker.engine.settings import Settings
from stacker.engine.shot import Piece, Shot
from stacker.engine.span import fading_of, span_of, weights_of
from stacker.engine.strokes import paint
from stacker.engine.subject_hold import hold_for_subject
from stacker.engine.traffic import told_of_traffic
from stacker.engine.water import told_of_water
from stacker.register import BAND_ROWS
from stacker.version import PROGRAM


@dataclass(frozen=True)
class Part:
    """What an exposure has to fit in with where it is one of several that make a picture.

    Parameters
    ----------
    reference : place of the frame that held frames are brought to, in the span or not; free if
        None.
    bridged : blends whose gaps are filled; all that gaps show in if None.
    seen : returns a holding whose frames count only where they belong.
    prepare : gets frames ready to be blended.
    """

    reference: int | None = None
    bridged: Collection[str] | None = None
    seen: Callable[[Holding], Holding] | None = None
    prepare: Callable[[Burst, Settings, Sequence[float], Progress], Prepared] = prepare

    def filled(self, blends: Sequence[Blend]) -> list[Blend]:
        """Return the blends whose gaps are filled."""
        return [b for b in blends if self.bridged is None or b.name in self.bridged]


@dataclass(frozen=True, eq=False)
class Exposure:
    """Exposures of one pass: ``shots`` by the names of their blends, the rows of each of their
    pieces, how the frames were held, and which were used."""

    shots: dict[str, Shot]
    rows: Sequence[range]
    holding: Holding
    used: Sequence[int]


ALONE = Part()


def expose_whole(
    burst: Burst, settings: Settings, progress: Progress, part: Part = ALONE
) -> Exposure:
    """Return the exposures of the whole picture; regions are none of its business.

    Raises
    ------
    OptionError
        A setting does not fit the burst, or the memory is too small.
    FrameError
        A frame is bad and ``settings.on_bad`` is ``"stop"``.
    BurstError
        No frame is left to make a picture from.
    """
    span = span_of(burst, settings)
    weights = weights_of(burst, span, settings)
    # what is wrong with the blends and the memory is told before anything is read
    settings, unbridged = _affordable(Prepared(burst), weights, settings, part)
    kept = keep_bursts(burst, weights, settings, progress)
    weights = kept.weights
    outcomes = known_bad(burst, span, weights, settings)
    prepared = part.prepare(burst, settings, weights, progress).telling(kept.found, kept.warnings)
    for told_of in (told_of_dusk, told_of_water, told_of_poses):
        prepared = prepared.telling(*told_of(burst, weights, settings, progress))
    painted = paint(prepared, weights, settings, progress)
    prepared, weights = painted.prepared, painted.weights
    settings, still_unbridged = _affordable(prepared, weights, settings, part)
    prepared = prepared.telling({}, (*unbridged, *still_unbridged))
    good = [p for p in span if weights[p] > 0 and p not in outcomes]
    cleared = take_out_planes(prepared.burst, good, settings, progress)
    prepared = replace(prepared, burst=cleared.burst).telling(cleared.found, cleared.warnings)
    opened, burst = burst, prepared.burst
    check_memory = partial(_check_memory, prepared, weights, settings)
    holding_to = settings
    if part.reference is not None:
        good = sorted({*good, part.reference})
        holding_to = replace(settings, reference=str(part.reference + 1))
    holding = hold_for_subject(burst, good, holding_to, progress, check_memory)
    holding = part.seen(holding) if part.seen is not None else holding
    outcomes |= {place: bad for place, bad in holding.bad.items() if place in span}
    kept_out = outcomes.keys() | holding.refused.keys()
    while True:
        weights = tuple(0.0 if place in kept_out else w for place, w in enumerate(weights))
        places = [place for place in span if weights[place] > 0]
        if not places:
            raise nothing_left(burst, outcomes)
        # a sum or a maximum would only get darker where a blurred frame counts less
        averaged = set(settings.blends) == {"mean"}
        counting = holding.weighted(weights) if averaged else weights
        blends = _blends(settings, burst, counting)
        intake = holding.intake(burst, counting)
        plan = _planned(prepared, blends, intake, settings, len(places), holding)
        pieces, rows, found = _run_passes(
            burst, places, blends, intake, plan, holding, settings, progress
        )
        bad = {place: outcome for place, outcome in found.items() if outcome.error is not None}
        outcomes |= bad
        kept_out = kept_out | bad.keys()
        used = [place for place in places if place not in bad]
        if not used:
            raise nothing_left(burst, outcomes)
        if holding.watcher is not None and holding.watcher.doubtful():
            # what has added up makes room for a closer look
            del pieces
            seen = used if part.reference is None else sorted({*used, part.reference})
            holding = hold_again(burst, seen, holding, holding_to, progress)
            holding = part.seen(holding) if part.seen is not None else holding
            outcomes |= {place: bad for place, bad in holding.bad.items() if place in span}
            kept_out = kept_out | holding.bad.keys() | holding.refused.keys()
            continue
        holding = replace(holding, watcher=None)
        without = holding.intake(
            burst, tuple(0.0 if p in bad else w for p, w in enumerate(counting))
        )
        alone = _blends(settings, burst, without.weights)
        if all(
            blend.depends_on(intake) == other.depends_on(without)
            for blend, other in zip(blends, alone, strict=True)
        ):
            break
        # the result shall be what the good frames alone would have given
    outcomes |= found
    bridged = Bridged()
    if settings.bridge:
        pieces = [
            _light_enough(each, blend, without, burst.size[0])
            for each, blend in zip(pieces, blends, strict=True)
        ]
        filled = part.filled(blends)
        bridging = bridge_plan(burst, weights, filled, settings, prepared.held_bytes)
        bridged = bridge_gaps(
            burst, used, without.weights, filled, holding, bridging, progress, sky=cleared.sky
        )
        is_traffic = settings.subject is not None and settings.subject.name == "traffic"
        if bridged.lamps is not None and is_traffic:
            prepared = prepared.telling(*told_of_traffic(bridged.lamps, burst, used))
    prepared = prepared.telling(*told_of_noise(without.weights, settings))
    peak_bytes = max(plan.peak_bytes, bridged.peak_bytes, cleared.peak_bytes)
    plan = replace(plan, peak_bytes=peak_bytes)
    prepared = prepared.telling(*told_of_pan(burst, used, holding, settings, progress))
    doubts = doubts_of(burst, used, holding, settings, progress)
    shots = {
        blend.name: Shot(
            pieces=with_gaps(
                pieces[number], rows, blend, bridged.of(blend.name).laid, without, holding
            ),
            columns=holding.region.columns,
            size=holding.region.size,
            space=burst.encoding.space,
            brightest=blend.brightest(without),
            open_s=open_time(burst, used, weights),
            exif=burst.frames[used[0]].exif,
            burst=opened,
            painted=painted if painted.strokes else None,
            agreeing=doubts.agreeing if blend.name == "median" else None,
            sources=frozenset(burst.sources) | prepared.sources,
            report=make_report(
                prepared,
                holding,
                settings,
                blend=blend.name,
                program=PROGRAM,
                span=span,
                weights=weights,
                counting=counting,
                outcomes=outcomes,
                plan=plan,
                bridged=bridged.of(blend.name),
                doubts=doubts,
            ),
        )
        for number, blend in enumerate(blends)
    }
    return Exposure(shots, rows, holding, used)


def _blends(settings: Settings, burst: Burst, weights: Sequence[float]) -> list[Blend]:
    """Return the blends asked for, for frames of these weights."""
    return [as_set(find_blend(name), settings, burst, weights) for name in settings.blends]


def as_set(blend: Blend, settings: Settings, burst: Burst, weights: Sequence[float]) -> Blend:
    """Return a blend with what the settings say about its kind."""
    if isinstance(blend, Trimmed):
        low, high = settings.trim
        return replace(blend, low=low, high=high)
    if isinstance(blend, Lighten):
        fading = fading_of(burst, weights, settings)
        return replace(blend, true_floor=settings.floor == "true", fading=fading)
    return blend


def _planned(
    prepared: Prepared,
    blends: Sequence[Blend],
    intake: Intake,
    settings: Settings,
    frames: int,
    holding: Holding,
) -> PassPlan:
    """Return how so many frames are worked on within the memory."""
    # to look at parts of a frame takes no more than to resample others
    worked_on = RESAMPLING_BYTES * bool(holding.warps or holding.watcher)
    rows, align = holding.region.rows, holding.align
    plan = _pass_plan(prepared, blends, intake, settings, frames, rows, worked_on, align)
    return replace(plan, peak_bytes=max(plan.peak_bytes, holding.looking_bytes))


def _pass_plan(
    prepared: Prepared,
    blends: Sequence[Blend],
    intake: Intake,
    settings: Settings,
    frames: int,
    rows: range,
    worked_on_bytes: int,
    align: int,
) -> PassPlan:
    """Return the plan; a worker takes ``worked_on_bytes`` besides the frame that it decodes."""
    burst = prepared.burst
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    return plan_passes(
        blends,
        intake,
        rows,
        burst.size[0],
        workers=min(worker_count(settings.workers), frames),
        memory=settings.memory,
        frame=frame + worked_on_bytes,
        held=prepared.held_bytes,
        align=align,
    )


def _check_memory(prepared: Prepared, weights: Sequence[float], settings: Settings) -> None:
    """Raise an OptionError where frames that are moved would not fit into the memory."""
    burst = prepared.burst
    blends = _blends(settings, burst, weights)
    intake = resampled_intake(burst, tuple(weights), masked=True)
    rows = range(burst.size[1])
    count = intake.count
    _pass_plan(prepared, blends, intake, settings, count, rows, RESAMPLING_BYTES, BAND_ROWS)


def _affordable(
    prepared: Prepared, weights: Sequence[float], settings: Settings, part: Part
) -> tuple[Settings, tuple[str, ...]]:
    """Return the settings as far as the memory allows to bridge gaps, and sentences about it."""
    blends = part.filled(_blends(settings, prepared.burst, weights))
    return if_affordable(prepared.burst, weights, blends, settings, prepared.held_bytes)


def _light_enough(pieces: list[Piece], blend: Blend, intake: Intake, width: int) -> list[Piece]:
    """Return the pieces finished, where what holds them takes more: gaps need memory too."""
    if blend.whole or blend.row_bytes(intake, width) <= width * RESULT_PIXEL_BYTES:
        return pieces
    return [piece.result() if isinstance(piece, Accumulator) else piece for piece in pieces]


def with_gaps(
    pieces: list[Piece],
    rows: Sequence[range],
    blend: Blend,
    laid: LaidLight | None,
    intake: Intake,
    holding: Holding,
) -> list[Piece]:
    """Return the pieces of a blend with the light of the gaps; the same where there is none."""
    if not laid:
        return pieces
    top, left = holding.region.rows.start, holding.region.columns.start
    scale = 1 / intake.total_weight if blend.name == "mean" else 1.0
    return [
        BridgedPiece(piece, laid, range(part.start - top, part.stop - top), left, scale)
        for piece, part in zip(pieces, rows, strict=True)
    ]


def _run_passes(
    burst: Burst,
    places: list[int],
    blends: Sequence[Blend],
    intake: Intake,
    plan: PassPlan,
    holding: Holding,
    settings: Settings,
    progress: Progress,
) -> tuple[list[list[Piece]], list[range], dict[int, FrameOutcome]]:
    """Return the pieces of each blend from top to bottom, their rows, what came of each frame."""
    pieces: list[list[Piece]] = [[] for _ in blends]
    rows: list[range] = []
    outcomes: dict[int, FrameOutcome] = {}
    # frames are the unit of parallel work: OpenCV's own threads would only compete with them
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        progress.start("blending", len(places) * len(plan.bands))
        for number_of_band, band in enumerate(plan.bands):
            stripes = make_stripes(
                blends, intake, band, burst.size, plan.workers, align=holding.align
            )
            # a frame that failed in an earlier band would fail again
            good = [p for p in places if p not in outcomes or outcomes[p].error is None]
            frame_pass = FramePass(
                burst,
                good,
                stripes,
                brightest_frame=min(blend.brightest_frame(intake) for blend in blends),
                on_bad=settings.on_bad,
                progress=progress,
                warps=holding.warps,
                masked=holding.masked,
                # further bands are of the same frames
                watch=holding.watcher if number_of_band == 0 else None,
            )
            outcomes |= frame_pass.run(plan.workers)
            rows += [stripe.rows for stripe in stripes]
            for number, blend in enumerate(blends):
                for stripe in stripes:
                    accumulator = stripe.accumulators[number]
                    # what still has to share the memory with other bands is finished now
                    keep = blend.whole or len(plan.bands) == 1
                    pieces[number].append(accumulator if keep else accumulator.result())
        for number, blend in enumerate(blends):
            if blend.whole:
                held = cast("list[Accumulator]", pieces[number])
                pieces[number] = list(blend.settle(held))
    finally:
        cv2.setNumThreads(threads)
    return pieces, rows, outcomes
