"""Light painting: passes of the lamp found, left out, dimmed and tinted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Any

import numpy as np

from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.frame_light import FrameLight
from stacker.engine.holding import as_they_lie
from stacker.engine.passes import worker_count
from stacker.engine.prepare import Prepared
from stacker.engine.progress import Progress, Silent
from stacker.engine.settings import Settings
from stacker.engine.span import span_of, weights_of
from stacker.engine.stroke_change import StrokeChange
from stacker.errors import OptionError
from stacker.light.encoding import LightArray
from stacker.light.lamp_gains import LampGains, tint_gains
from stacker.survey.movers import LONG_SIDE
from stacker.survey.strokes import Stroke, find_strokes

# frames of a long session that are looked at within a quarter of a gigabyte
MOST_LOOKED_AT = 1000
# frames without the lamp that make the unlit scene, spread over the burst
MOST_UNLIT = 16
LIGHT_PIXEL_BYTES = 12


@dataclass(frozen=True, eq=False)
class Painted:
    """A burst whose passes are known.

    Parameters
    ----------
    prepared : the burst with what was changed in the lamp's light.
    weights : one per frame of the burst; 0 for passes that are left out.
    strokes : the passes that are left, each with its number, counted from 1, and its places.
    unlit : places of frames without the lamp.
    """

    prepared: Prepared
    weights: tuple[float, ...]
    strokes: tuple[tuple[int, tuple[int, ...]], ...] = ()
    unlit: tuple[int, ...] = ()

    @property
    def burst(self) -> Burst:
        """The burst with what was changed."""
        return self.prepared.burst


def paint(
    prepared: Prepared, weights: Sequence[float], settings: Settings, progress: Progress
) -> Painted:
    """Return the burst with its passes found and changed as the settings say.

    Raises
    ------
    OptionError
        A pass is named that is not there.
    """
    burst = prepared.burst
    places = [p for p, frame in enumerate(burst.frames) if weights[p] > 0 and not frame.problem]
    if not (settings.find_passes or settings.passes) or len(places) < 2:
        return Painted(prepared, tuple(weights))
    if len(places) > MOST_LOOKED_AT:
        sentence = f"passes of the lamp are looked for in no more than {MOST_LOOKED_AT} frames"
        return Painted(prepared.telling({}, (sentence,)), tuple(weights))
    strokes = _look(burst, places, settings, progress)
    by_number = {each.number: each for each in settings.passes}
    _check(by_number, len(strokes))
    spans = [tuple(places[k] for k in stroke.frames) for stroke in strokes]
    lit = {place for span in spans for place in span}
    unlit = tuple(place for place in places if place not in lit)
    out = {p for n, span in enumerate(spans, 1) if _is_off(by_number, n) for p in span}
    found = [_told(burst, places, s, by_number.get(n)) for n, s in enumerate(strokes, 1)]
    told = prepared.telling({"lamp_passes": found}, _sentences(places, strokes, by_number))
    gains = _gains(burst, spans, by_number)
    if gains:
        scene = unlit_scene(burst, unlit or places, progress, lit=not unlit)
        told = replace(
            told,
            burst=burst.corrected(LampGains(scene, gains)),
            held_bytes=told.held_bytes + scene.size // 3 * LIGHT_PIXEL_BYTES,
        )
    left = tuple(0.0 if place in out else weight for place, weight in enumerate(weights))
    kept = tuple((n, span) for n, span in enumerate(spans, 1) if not _is_off(by_number, n))
    return Painted(told, left, kept, unlit)


def list_passes(burst: Burst, settings: Settings, progress: Progress) -> Sequence[str]:
    """Return what is known of each pass of the lamp, in lines for a person.

    Raises
    ------
    StackerError
        The span lies beyond the burst.
    """
    weights = weights_of(burst, span_of(burst, settings), settings)
    looked = replace(settings, find_passes=True, passes=())
    painted = paint(Prepared(burst), weights, looked, progress)
    lines = [
        f"pass {number}: {each['first']} to {each['last']}, {each['frames']} "
        f"frame{'s' if each['frames'] != 1 else ''}, brightest in {each['peak']}, lights "
        f"{each['extent']:.1%} of the picture"
        for number, each in enumerate(painted.prepared.found.get("lamp_passes", ()), 1)
    ]
    return lines or painted.prepared.warnings or ("no pass of a lamp was found",)


def passes_in(burst: Burst) -> Sequence[tuple[int, tuple[int, ...]]]:
    """Return the passes of a lamp, each with its number, from 1, and the places of its frames."""
    looked = Settings(find_passes=True, on_bad="skip")
    weights = [0.0 if frame.problem else 1.0 for frame in burst.frames]
    return paint(Prepared(burst), weights, looked, Silent()).strokes


def unlit_scene(
    burst: Burst, places: Sequence[int], progress: Progress, *, lit: bool = False
) -> LightArray:
    """Return the scene without the lamp, float32 (H, W, 3).

    The mean of frames in which it is out; where there is none (``lit``) the darkest of each pixel.
    """
    chosen = sorted({places[k * len(places) // MOST_UNLIT] for k in range(MOST_UNLIT)})
    frames = FrameLight(burst, chosen, as_they_lie(burst))
    progress.start("looking at the scene without the lamp", len(chosen))
    total = frames(0).copy()
    for number in range(1, len(chosen)):
        if lit:
            np.minimum(total, frames(number), out=total)
        else:
            total += frames(number)
        progress.advance()
    return total if lit else np.asarray(total / np.float32(len(chosen)), np.float32)


def _look(
    burst: Burst, places: Sequence[int], settings: Settings, progress: Progress
) -> list[Stroke]:
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    with copies_of(
        burst, places, factor, worker_count(settings.workers), progress, in_light=True
    ) as copies:
        progress.start("looking for passes of the lamp", len(places))
        small = []
        for place in places:
            small.append(copies(place).max(axis=2))
            progress.advance()
    return find_strokes(np.stack(small))


def _check(changes: dict[int, StrokeChange], count: int) -> None:
    for number in changes:
        if number > count:
            raise OptionError(
                f"--pass {number}",
                f"{_some(count)} of the lamp {'was' if count == 1 else 'were'} found",
                remedy="--pass list tells them" if count else "leave it out",
                code="option-pass",
            )


def _is_off(changes: dict[int, StrokeChange], number: int) -> bool:
    return number in changes and changes[number].factor == 0


def _gains(
    burst: Burst, spans: Sequence[Sequence[int]], changes: dict[int, StrokeChange]
) -> dict[int, tuple[float, float, float]]:
    """Return the factors of each frame whose lamp changes."""
    weights = burst.encoding.space.luminance_weights
    gains: dict[int, tuple[float, float, float]] = {}
    for number, change in changes.items():
        if change.factor == 0 or (change.factor == 1 and change.tint is None):
            continue
        tint = tint_gains(change.tint, weights) if change.tint else (1.0, 1.0, 1.0)
        red, green, blue = (change.factor * each for each in tint)
        gains |= dict.fromkeys(spans[number - 1], (red, green, blue))
    return gains


def _told(
    burst: Burst, places: Sequence[int], stroke: Stroke, change: StrokeChange | None
) -> dict[str, Any]:
    return {
        "first": burst.frames[places[stroke.first]].name,
        "peak": burst.frames[places[stroke.peak]].name,
        "last": burst.frames[places[stroke.last]].name,
        "frames": len(stroke.frames),
        "brightness": round(stroke.brightness, 5),
        "extent": round(stroke.extent, 4),
        "factor": 1.0 if change is None else change.factor,
        "tint": None if change is None else change.tint,
    }


def _sentences(
    places: Sequence[int], strokes: Sequence[Stroke], changes: dict[int, StrokeChange]
) -> tuple[str, ...]:
    if not strokes:
        return ("no pass of a lamp was found",)
    parts = []
    for number, stroke in enumerate(strokes, 1):
        first, last = places[stroke.first] + 1, places[stroke.last] + 1
        span = f"frame {first}" if first == last else f"frames {first} to {last}"
        change = changes.get(number)
        parts.append(f"{number} in {span}" + (f" ({change.said})" if change else ""))
    return (f"{_some(len(strokes))} of the lamp: {', '.join(parts)}",)


def _some(count: int) -> str:
    return f"{count or 'no'} pass{'es' if count > 1 else ''}"
