"""The answer to a drag: the exposure of a span as a picture, and what is told about it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from hashlib import sha256
from math import isfinite
from typing import Any

from stacker.engine.expose import expose_burst
from stacker.engine.loupe import expose_part, part_about
from stacker.engine.preview import for_reduced
from stacker.engine.progress import Progress
from stacker.engine.quick_spans import quick_shot, slow_reasons, span_places
from stacker.engine.settings import Settings
from stacker.engine.settings_file import Chosen
from stacker.engine.shot import Shot
from stacker.engine.shown import Shown, doubt_mask, show
from stacker.engine.span import span_of
from stacker.errors import BurstError
from stacker.finish.grey import gray_png
from stacker.finish.shown import CodeArray8, clipping_mask
from stacker.page.answers import PageError
from stacker.page.opened import Opened
from stacker.page.views import COARSE_SIDE, Level, View

FINE_SIDE = 1500
# the side of the magnifier in pixels of the frames
LOUPE_SIDE, LARGEST_LOUPE = 400, 1000
QUALITY = 90
OVERLAYS = ("clipping", "doubt")
RESTS, IN_RESULT = "once the span rests", "in the result"
# finished exposures that are kept: going back to one costs nothing
MOST_KEPT = 6


@dataclass(frozen=True)
class Answer:
    """A picture as a browser takes it, with its headers."""

    body: bytes
    headers: Mapping[str, str]
    media_type: str


@dataclass(frozen=True, eq=False)
class Previewed:
    """An exposure, sentences about it, and whether it will soon be another."""

    shot: Shot
    notes: tuple[str, ...] = ()
    passing: bool = False
    factor: int = field(default=1)


def answer(opened: Opened, chosen: Chosen, data: Mapping[str, Any], progress: Progress) -> Answer:
    """Return the picture of a span.

    Parameters
    ----------
    data : what was asked for besides the settings: ``side`` and ``overlay``.

    Raises
    ------
    StackerError
        The settings do not fit the burst.
    """
    side, overlay = data.get("side", FINE_SIDE), data.get("overlay")
    if side not in (FINE_SIDE, COARSE_SIDE) or overlay not in (None, *OVERLAYS):
        raise PageError(
            "the preview",
            f"it has {FINE_SIDE} or {COARSE_SIDE} pixels a side, and marks clipping, doubt or null",
            code="bad-request",
        )
    previewed = preview(
        opened,
        chosen.settings,
        progress,
        coarse=side == COARSE_SIDE,
        doubtful=overlay == "doubt",
    )
    if overlay == "doubt":
        return _overlay(_doubt(previewed), previewed)
    shown = show(previewed.shot, chosen, factor=previewed.factor)
    if overlay == "clipping":
        return _overlay(clipping_mask(shown.codes), previewed)
    return _encoded(shown, previewed)


def closely(opened: Opened, chosen: Chosen, data: Mapping[str, Any], progress: Progress) -> Answer:
    """Return part of the exposure of a span from the frames at full size.

    Parameters
    ----------
    data : ``x`` and ``y`` in pixels of the picture at full size, and ``size``, the side.

    Raises
    ------
    StackerError
        The settings do not fit the burst.
    """
    x, y, side = data.get("x"), data.get("y"), data.get("size", LOUPE_SIDE)
    if not (_is_number(x) and _is_number(y) and _is_number(side) and 1 <= side <= LARGEST_LOUPE):
        raise PageError(
            "the magnifier",
            f"it wants a place and a side of at most {LARGEST_LOUPE} pixels",
            code="bad-request",
        )
    settings, left = _stripped(chosen.settings)
    view, notes, passing = opened.view_for(settings)
    places, told = _places(opened, view, view.fine, settings)
    left_corner = top_corner = 0
    if view.holding is not None:
        region = view.holding.region
        left_corner = region.columns.start * opened.factor
        top_corner = region.rows.start * opened.factor
    assert isinstance(x, int | float) and isinstance(y, int | float)
    part = part_about(x + left_corner, y + top_corner, int(side), opened.burst.size)
    with opened.slow:
        shot = expose_part(
            opened.burst,
            places,
            settings,
            part,
            progress,
            holding=view.holding,
            factor=opened.factor,
        )
    # a grey spot is measured in the whole picture: here there is only a part of it
    plain = Chosen({n: v for n, v in chosen.said.items() if n != "neutral"}, chosen.subject)
    shown = show(shot, plain)
    corner = [part.columns.start - left_corner, part.rows.start - top_corner]
    notes = [*notes, *told, *(sentence.replace(RESTS, IN_RESULT) for sentence in left)]
    answer = _encoded(shown, Previewed(shot, tuple(notes), passing))
    return replace(answer, headers={**answer.headers, "X-Corner": json.dumps(corner)})


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def preview(
    opened: Opened,
    settings: Settings,
    progress: Progress,
    *,
    coarse: bool = False,
    doubtful: bool = False,
) -> Previewed:
    """Return the exposure of a span from reduced frames.

    Parameters
    ----------
    coarse : from the smallest copies, without what takes long.
    doubtful : also find out where a median is in doubt.
    """
    if settings.first is not None and settings.first == settings.last:
        # whoever looks at one frame alone wants to see it
        settings = replace(settings, without=(), hold="still", box=None, weights=None)
    view, notes, passing = opened.view_for(settings)
    if coarse:
        settings, left = _stripped(settings)
        notes = [*notes, *left]
    elif doubtful and "median" in settings.blends:
        settings = replace(settings, doubts=True)
    level = view.coarse if coarse else view.fine
    factor = opened.factor * (view.times if coarse else 1)
    places, told = _places(opened, view, level, settings)
    notes += told
    if settings.darks or settings.flats or settings.biases or settings.hot_pixels == "mend":
        notes.append("calibration shows in the result only, not in this preview")
    slow = slow_reasons(settings)
    if settings.doubts and "median" in settings.blends:
        slow.append("doubts are looked for")
    if view.partly and coarse:
        notes.append("edges that few frames reach come out right once the span rests")
    elif view.partly:
        slow.append("some frames reach parts of the picture only")
    if not slow:
        known = opened.known if view is opened.plain else len(opened.burst.frames)
        shot = quick_shot(level.burst, level.spans, settings.blends[0], places, known=known)
        return Previewed(shot, tuple(notes), passing, factor)
    shot = _slow(opened, view, level, settings, places, progress)
    notes += [warning for warning in shot.report["warnings"] if warning not in notes]
    return Previewed(shot, tuple(notes), passing, factor)


def _places(
    opened: Opened, view: View, level: Level, settings: Settings
) -> tuple[list[int], list[str]]:
    """Return the frames of the span that can be used, and sentences about the others."""
    wanted = span_places(opened.burst, settings)
    places = [p for p in wanted if level.frames[p] is not None and p not in view.refused]
    notes = []
    bad = [p for p in wanted if p in opened.bad]
    if bad:
        name = opened.burst.frames[bad[0]].name
        more = f" and {len(bad) - 1} more" if len(bad) > 1 else ""
        notes.append(f"left out: {name}{more}: {opened.bad[bad[0]].why}")
    refused = [p for p in wanted if p in view.refused and p not in opened.bad]
    if refused:
        name = opened.burst.frames[refused[0]].name
        more = f" and {len(refused) - 1} more" if len(refused) > 1 else ""
        notes.append(f"left out: {name}{more}: {view.refused[refused[0]]}")
    if not places:
        raise BurstError(
            opened.path.name,
            "no frame of this span can be shown yet"
            if opened.loaded < len(opened.burst.frames)
            else "no frame of this span can be used",
            remedy="choose a longer span",
            code="burst-no-frames",
        )
    return places, notes


def _slow(
    opened: Opened,
    view: View,
    level: Level,
    settings: Settings,
    places: list[int],
    progress: Progress,
) -> Shot:
    """Return the exposure as the engine makes it from the frames in memory, or as it is kept."""
    held = _held(opened, view, settings, places)
    burst = level.burst
    if view.partly and level is view.fine:
        # what frames do not reach is left out of each: only the engine itself knows
        held = replace(for_reduced(settings, opened.factor), on_bad="skip")
        burst = opened.plain.fine.burst
    key = (level.number, held)
    if key in opened.cache:
        opened.cache.move_to_end(key)
        kept: Shot = opened.cache[key]
        return kept
    # one at a time: they take all processors and much memory
    with opened.slow:
        progress.start("exposing", 1)
        shot = next(iter(expose_burst(burst, held, progress=progress).values()))
    if opened.is_ready:
        opened.cache[key] = shot
        while len(opened.cache) > MOST_KEPT:
            opened.cache.popitem(last=False)
    return shot


def _held(opened: Opened, view: View, settings: Settings, places: list[int]) -> Settings:
    """Return the settings for frames that lie upon each other already."""
    span = span_of(opened.burst, settings)
    weights = settings.weights
    if view.weights is not None and settings.blends == ("mean",):
        given = weights or (1.0,) * len(span)
        weights = tuple(w * view.weights[p] for w, p in zip(given, span, strict=True))
    return replace(
        for_reduced(settings, opened.factor),
        hold="still",
        box=None,
        reference=None,
        crop=None,
        on_bad="skip",
        # what a shutter time comes to was reckoned with all frames
        first=span.start + 1,
        last=span.stop,
        shutter_s=None,
        without=tuple(place + 1 for place in span if place not in places),
        weights=weights,
    )


def _stripped(settings: Settings) -> tuple[Settings, list[str]]:
    """Return the settings without what takes long, and sentences about what is left away."""
    left = {
        f"the gaps are bridged {RESTS}": bool(settings.bridge),
        f"the noise floor is corrected {RESTS}": settings.floor == "true",
        f"light is evened {RESTS}": settings.even != "off",
        f"bursts are chosen {RESTS}": settings.keep_bursts is not None,
    }
    quick = replace(
        settings, bridge=None, floor="plain", even="off", keep_bursts=None, doubts=False
    )
    return quick, [sentence for sentence, is_so in left.items() if is_so]


def _doubt(previewed: Previewed) -> CodeArray8:
    mask = doubt_mask(previewed.shot)
    if mask is None:
        raise PageError(
            "doubt",
            "there is none to show: it is about a median and about bridged gaps",
            remedy="choose the median of five frames or more, or bridge the gaps",
            code="no-doubt",
        )
    return mask


def _encoded(shown: Shown, previewed: Previewed) -> Answer:
    """Return the answer that holds a picture."""
    import simplejpeg

    body = simplejpeg.encode_jpeg(shown.codes, quality=QUALITY, colorsubsampling="444")
    histogram = {
        "edges_stops": shown.histogram.edges_stops,
        "counts": {name: list(each) for name, each in shown.histogram.counts.items()},
    }
    told = {"X-Histogram": json.dumps(histogram, separators=(",", ":"))}
    return _answer(body, "image/jpeg", previewed, told)


def _overlay(mask: CodeArray8, previewed: Previewed) -> Answer:
    """Return the answer that holds a mask to be laid over a picture."""
    return _answer(gray_png(mask), "image/png", previewed, {})


def _answer(body: bytes, kind: str, previewed: Previewed, told: Mapping[str, str]) -> Answer:
    shot = previewed.shot
    headers = {
        "X-Open-S": json.dumps(shot.open_s),
        "X-Frames": str(shot.report["frames_used"]),
        "X-Notes": json.dumps(previewed.notes),
        "X-Passing": "1" if previewed.passing else "0",
        "ETag": f'"{sha256(body).hexdigest()[:20]}"',
    }
    return Answer(body, {**headers, **told}, kind)
