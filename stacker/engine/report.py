"""The report, format 1: what was found in the burst and what was done with it."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from stacker.burst import FILE_ENDS, Burst
from stacker.engine.doubts import Doubts
from stacker.engine.gaps import BridgedBlend
from stacker.engine.holding import Holding
from stacker.engine.memory import PassPlan
from stacker.engine.passes import FrameOutcome
from stacker.engine.prepare import Prepared
from stacker.engine.settings import Settings
from stacker.register import LocalCorrection

FORMAT = 1
IDENTITY = [[1, 0, 0], [0, 1, 0], [0, 0, 1]]
# from this share of the picture on, clipped light is worth a word
MUCH_CLIPPED = 0.05
TIME_DIGITS = 6


def make_report(
    prepared: Prepared,
    holding: Holding,
    settings: Settings,
    *,
    blend: str,
    program: str,
    span: range,
    weights: Sequence[float],
    counting: Sequence[float],
    outcomes: Mapping[int, FrameOutcome],
    plan: PassPlan,
    bridged: BridgedBlend,
    doubts: Doubts,
) -> dict[str, Any]:
    """Return the report as plain data, ready for JSON.

    ``weights`` are those asked for, ``counting`` those by which the frames were blended.
    """
    burst, subject = prepared.burst, settings.subject
    used = [place for place in span if weights[place] > 0 and outcomes[place].error is None]
    open_s = open_time(burst, used, weights)
    width, height = holding.region.size
    first = used[0] if holding.reference is None else holding.reference
    return {
        "format": FORMAT,
        "program": program,
        "output": None,
        "settings": {**asdict(settings), "blend": blend, "subject": subject and subject.name},
        "subject": subject and subject.told(),
        "reference": burst.frames[first].name,
        "size": [width, height],
        "hold": holding.instead or settings.hold or "scene",
        "motion_model": holding.model,
        "region": _region(holding),
        "colour_space": burst.encoding.space.name,
        "converted": _converted(burst, used),
        "stored": burst.encoding.stored,
        "development": _development(burst),
        "frames": [
            _frame(burst, place, counting[place], outcomes.get(place), holding) for place in span
        ],
        "gaps": _gaps(burst, used, bridged),
        "open_s": open_s,
        "elapsed_s": _elapsed(burst, used),
        "frames_used": len(used),
        "frames_left_out": len(span) - len(used),
        "files_passed_over": len(burst.passed_over),
        "passed_over": list(burst.passed_over),
        "passes": {
            "count": len(plan.bands),
            "rows_at_a_time": len(plan.bands[0]),
            "workers": plan.workers,
            "planned_peak_bytes": plan.peak_bytes,
            "why": _why(plan),
        },
        **prepared.found,
        **bridged.found,
        **doubts.found,
        "warnings": [
            *burst.warnings,
            *prepared.warnings,
            *holding.warnings,
            *_held(burst, holding, settings),
            *bridged.warnings,
            *doubts.warnings,
            *_warnings(burst, used, outcomes, settings),
        ],
    }


def open_time(burst: Burst, used: Sequence[int], weights: Sequence[float]) -> float | None:
    """Return the open time that the used frames add up to, in seconds; None if not known."""
    total = 0.0
    for place in used:
        shutter = burst.frames[place].shutter_s
        if shutter is None:
            return None
        total += shutter * min(1.0, weights[place])
    return round(total, TIME_DIGITS)


def _converted(burst: Burst, used: Sequence[int]) -> dict[str, int]:
    """Return how many frames were in another space than the burst's, by the name of that space."""
    return dict(Counter(burst.frames[p].encoding.name for p in used if burst.is_converted(p)))


def _development(burst: Burst) -> dict[str, Any] | None:
    if burst.development is None:
        return None
    told = asdict(replace(burst.development, calibration=None))
    # what it was made from stands under "calibration"
    del told["calibration"]
    return told


def _region(holding: Holding) -> dict[str, int]:
    """Return which part of the reference the picture is, in its pixels."""
    rows, columns = holding.region.rows, holding.region.columns
    return {"x": columns.start, "y": rows.start, "width": len(columns), "height": len(rows)}


def _frame(
    burst: Burst, place: int, weight: float, outcome: FrameOutcome | None, holding: Holding
) -> dict[str, Any]:
    frame = burst.frames[place]
    motion = holding.frames.get(place)
    why = None
    if outcome is not None and outcome.error is not None:
        why = outcome.error.why
    elif place in holding.refused:
        why = holding.refused[place]
    elif weight == 0:
        why = "left out as asked"
    return {
        "name": frame.name,
        "number": place + 1,
        "start_s": round(frame.start_s, TIME_DIGITS),
        "shutter_s": frame.shutter_s,
        "used": why is None,
        "why": why,
        "weight": weight,
        "to_reference": motion.to_reference.tolist() if motion else IDENTITY,
        "local": _local(motion.local) if motion and motion.local else None,
        "residual_px": round(motion.residual_px, 4) if motion else 0.0,
        "clipped": round(outcome.clipped, 6) if outcome is not None else None,
    }


def _local(local: LocalCorrection) -> dict[str, Any]:
    return {
        "x": local.x.tolist(),
        "y": local.y.tolist(),
        "dx": local.dx.tolist(),
        "dy": local.dy.tolist(),
    }


def _gaps(burst: Burst, used: Sequence[int], bridged: BridgedBlend) -> list[dict[str, Any]]:
    gaps = []
    for place, following in itertools.pairwise(used):
        frame = burst.frames[place]
        seconds = None
        if frame.shutter_s is not None:
            seconds = burst.frames[following].start_s - (frame.start_s + frame.shutter_s)
            seconds = round(max(0.0, seconds), TIME_DIGITS)
        gap: dict[str, Any] = {"after": frame.name, "seconds": seconds, "bridged": False}
        if place in bridged.gaps:
            gap |= bridged.gaps[place].told()
        gaps.append(gap)
    return gaps


def _elapsed(burst: Burst, used: Sequence[int]) -> float | None:
    last = burst.frames[used[-1]]
    if last.shutter_s is None:
        return None
    return round(last.start_s + last.shutter_s - burst.frames[used[0]].start_s, TIME_DIGITS)


def _why(plan: PassPlan) -> str:
    if len(plan.bands) == 1:
        return "the whole picture fits into the memory allowed: every file is decoded once"
    return (
        f"the picture is worked on in {len(plan.bands)} bands of up to {len(plan.bands[0])} rows "
        f"to keep within the memory allowed: every file is decoded {len(plan.bands)} times"
    )


def _held(burst: Burst, holding: Holding, settings: Settings) -> list[str]:
    """Return sentences about frames that were left out because of where or how they looked."""
    said: dict[str, list[int]] = {}
    for place, why in sorted(holding.refused.items()):
        said.setdefault(why, []).append(place)
    sentences = []
    for why, places in said.items():
        names = ", ".join(burst.frames[place].name for place in places[:3])
        more = f" and {len(places) - 3} more" if len(places) > 3 else ""
        unasked = "; --hold still uses every frame" if settings.hold is None else ""
        sentences.append(f"left out: {names}{more}: {why}{unasked}")
    return sentences


def _warnings(
    burst: Burst,
    used: Sequence[int],
    outcomes: Mapping[int, FrameOutcome],
    settings: Settings,
) -> list[str]:
    warnings = []
    shutters = [burst.frames[place].shutter_s or 0.0 for place in used]
    if settings.shutter_s and abs(sum(shutters) - settings.shutter_s) > max(shutters):
        warnings.append(
            f"{settings.shutter_s:g} s of open time were asked for; the frames from the first on "
            f"hold {sum(shutters):.4g} s"
        )
    warnings += _lost_tails(burst, outcomes)
    bad = [
        place
        for place, outcome in sorted(outcomes.items())
        if outcome.error is not None and outcome.error.code != FILE_ENDS
    ]
    if bad:
        names = ", ".join(burst.frames[place].name for place in bad[:3])
        more = f" and {len(bad) - 3} more" if len(bad) > 3 else ""
        warnings.append(f"{len(bad)} of {len(outcomes)} frames left out: {names}{more}")
    clipped = sum(outcomes[place].clipped for place in used) / len(used)
    if clipped > MUCH_CLIPPED:
        warnings.append(
            f"{clipped:.0%} of the picture is burnt out in the frames: it stays so in the result; "
            "shorter frames keep it"
        )
    return warnings


def _lost_tails(burst: Burst, outcomes: Mapping[int, FrameOutcome]) -> list[str]:
    """Return a sentence for each clip whose last frames could not be had."""
    lost: Counter[Path] = Counter()
    asked: Counter[Path] = Counter()
    for place, outcome in outcomes.items():
        path = burst.frames[place].path
        asked[path] += 1
        lost[path] += outcome.error is not None and outcome.error.code == FILE_ENDS
    return [
        f"{path.name}: the clip is damaged at its end; {count} of {asked[path]} frames, the last "
        f"{'ones' if count > 1 else 'one'}, cannot be had and are left out"
        for path, count in lost.items()
        if count
    ]
