"""The main job: a burst becomes one long exposure, or several in the same pass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import cast

import cv2

from stacker.blend import Accumulator, Blend, Intake, find_blend
from stacker.blend.lighten import Lighten
from stacker.blend.trimmed import Trimmed
from stacker.burst import Burst
from stacker.engine.bridging import Bridged, bridge_gaps
from stacker.engine.doubts import doubts_of
from stacker.engine.dusk import told_of_dusk
from stacker.engine.hold import hold_again
from stacker.engine.holding import Holding, resampled_intake
from stacker.engine.keep_bursts import keep_bursts
from stacker.engine.laid import BridgedPiece
from stacker.engine.memory import PassPlan, frame_bytes, plan_passes
from stacker.engine.passes import (
    RESAMPLING_BYTES,
    FrameOutcome,
    FramePass,
    make_stripes,
    worker_count,
)
from stacker.engine.planes import take_out_planes
from stacker.engine.prepare import Prepared, prepare
from stacker.engine.progress import Progress, Silent
from stacker.engine.ready import known_bad, nothing_left
from stacker.engine.report import make_report, open_time
from stacker.engine.settings import Settings
from stacker.engine.shot import Piece, Shot
from stacker.engine.span import fading_of, span_of, weights_of
from stacker.engine.strokes import paint
from stacker.engine.subject_hold import hold_for_subject
from stacker.engine.water import told_of_water
from stacker.register import BAND_ROWS
from stacker.version import PROGRAM


def expose_burst(
    burst: Burst, settings: Settings, *, progress: Progress | None = None
) -> dict[str, Shot]:
    """Return the exposures by the names of their blends.

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
    # what is wrong with the blends is told before anything is read
    _blends(settings, burst, weights)
    progress = progress or Silent()
    kept = keep_bursts(burst, weights, settings, progress)
    weights = kept.weights
    outcomes = known_bad(burst, span, weights, settings)
    prepared = prepare(burst, settings, weights, progress).telling(kept.found, kept.warnings)
    for told_of in (told_of_dusk, told_of_water):
        prepared = prepared.telling(*told_of(burst, weights, settings, progress))
    painted = paint(prepared, weights, settings, progress)
    prepared, weights = painted.prepared, painted.weights
    good = [p for p in span if weights[p] > 0 and p not in outcomes]
    cleared = take_out_planes(prepared.burst, good, settings, progress)
    prepared = replace(prepared, burst=cleared.burst).telling(cleared.found, cleared.warnings)
    opened, burst = burst, prepared.burst
    check_memory = partial(_check_memory, prepared, weights, settings)
    holding = hold_for_subject(burst, good, settings, progress, check_memory)
    outcomes |= holding.bad
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
            holding = hold_again(burst, used, holding, settings, progress)
            outcomes |= holding.bad
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
    bridged = bridge_gaps(
        burst, used, without.weights, blends, holding, settings, progress, sky=cleared.sky
    )
    peak_bytes = max(plan.peak_bytes, bridged.peak_bytes, cleared.peak_bytes)
    plan = replace(plan, peak_bytes=peak_bytes)
    doubts = doubts_of(burst, used, holding, settings, progress)
    return {
        blend.name: Shot(
            pieces=_with_gaps(pieces[number], rows, blend, bridged, without, holding),
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
                bridged=bridged,
                doubts=doubts,
            ),
        )
        for number, blend in enumerate(blends)
    }


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


def _with_gaps(
    pieces: list[Piece],
    rows: Sequence[range],
    blend: Blend,
    bridged: Bridged,
    intake: Intake,
    holding: Holding,
) -> list[Piece]:
    """Return the pieces of a blend with the light of the gaps; the same where there is none."""
    laid = bridged.laid.get(blend.name)
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
