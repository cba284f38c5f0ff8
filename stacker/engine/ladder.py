"""One burst at a ladder of shutter times, from one pass over its files."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from stacker.blend import find_blend
from stacker.burst import Burst
from stacker.engine.bridging import if_affordable
from stacker.engine.expose import as_set
from stacker.engine.ladder_pass import LadderPass
from stacker.engine.measuring import measure_rungs
from stacker.engine.progress import Progress, Silent
from stacker.engine.ready import make_ready
from stacker.engine.report import open_time
from stacker.engine.rung_for import suits_subject
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.engine.shutters import counts_for, dial_time, doubling_counts
from stacker.engine.span import span_of, weights_of
from stacker.engine.verdict import Measure
from stacker.errors import BurstError, OptionError

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
    subject: str | None = None,
    progress: Progress | None = None,
) -> Ladder:
    """Return the exposures of 1, 2, 4, 8 frames and so on, or of given times.

    All begin with the first frame of the span. Frames are decoded and held once. The bridge looks
    again at those of each rung, which is bridged as the burst of its frames alone.

    Parameters
    ----------
    settings : with one blend.
    shutters_s : open times in seconds; each rung takes the frames that come nearest.
    subject : what the burst is of, by which a rung is proposed; by texture and streaks if None.

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
    if_affordable(ready.burst, ready.weights, [blend], settings, ready.prepared.held_bytes)
    while True:
        places = ready.places
        ends = tuple(places[count - 1] for count in _counts(burst, places, shutters_s))
        made = LadderPass(ready, blend, ends, settings, progress)
        outcomes = made.run()
        bad = {place: outcome for place, outcome in outcomes.items() if outcome.error is not None}
        if not bad:
            break
        # rungs are counted in frames: without the bad ones they are others
        ready = ready.without(bad)
    if settings.bridge:
        made.bridge()
    measures = measure_rungs(made)
    rungs = []
    for end, measure in zip(ends, measures, strict=True):
        shot, count = made.shot(end, outcomes), made.frames_until(end)
        rungs.append(Rung(_label(shot.open_s, count), count, shot, measure))
    proposed, why = suits_subject(subject, measures, [rung.shot.open_s for rung in rungs])
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
    if_affordable(burst, weights, [find_blend(settings.blends[0])], settings)
    places = [place for place in span if weights[place] > 0]
    counts = _counts(burst, places, shutters_s)
    return [(_label(open_time(burst, places[:n], weights), n), n) for n in counts]


def _label(open_s: float | None, frames: int) -> str:
    return dial_time(open_s) if open_s else f"{frames} frame{'s' if frames > 1 else ''}"


def _refuse_what_has_no_ladder(settings: Settings) -> None:
    refused = {
        "--floor true": settings.floor == "true",
        "--tail": settings.tail_s is not None,
        "--weights": settings.weights is not None,
        "--region": bool(settings.regions),
        "--ramp-in, --ramp-out": settings.ramp_in_s > 0 or settings.ramp_out_s > 0,
        # rungs are made piece by piece; some blends need all pieces
        f"--blend {','.join(settings.blends)}": len(settings.blends) > 1
        or find_blend(settings.blends[0]).whole,
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


def _report(rungs: Sequence[Rung], proposed: int, why: str, made: LadderPass) -> dict[str, Any]:
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
            "bridge": rung.shot.report.get("bridge"),
        }
        for rung in rungs
    ]
    return {
        **last,
        "rungs": told,
        "proposed": {"rung": proposed + 1, "label": rungs[proposed].label, "why": why},
        "measured": {"frames": len(made.sampled), "pixels_a_cell": made.factor},
    }
