"""The answer to a drag: the exposure of a span as a picture, and what is told about it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from hashlib import sha256
from math import isfinite
from typing import Any

from stacker.engine.loupe import expose_part, part_about
from stacker.engine.progress import Progress
from stacker.engine.settings_file import Chosen
from stacker.engine.shown import Shown, show
from stacker.finish.grey import gray_png
from stacker.finish.shown import CodeArray8, clipping_mask
from stacker.page.answers import PageError
from stacker.page.leaving import turn
from stacker.page.opened import Opened
from stacker.page.spans import RESTS, Previewed, preview, stripped, usable_places
from stacker.page.views import COARSE_SIDE

FINE_SIDE = 1500
# the side of the magnifier in pixels of the frames
LOUPE_SIDE, LARGEST_LOUPE = 400, 1000
QUALITY = 90
OVERLAYS = ("clipping", "doubt")
IN_RESULT = "in the result"


@dataclass(frozen=True)
class Answer:
    """A picture as a browser takes it, with its headers."""

    body: bytes
    headers: Mapping[str, str]
    media_type: str


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
        chosen,
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
    timed = opened.timed(chosen.opening)
    settings, left = stripped(chosen.settings)
    view, notes, passing = opened.view_for(settings)
    places, told = usable_places(opened, timed, view, view.fine, settings)
    left_corner, top_corner = view.whole_region[:2]
    assert isinstance(x, int | float) and isinstance(y, int | float)
    part = part_about(x + left_corner, y + top_corner, int(side), opened.burst.size)
    with turn(opened.slow, progress):
        shot = expose_part(
            timed,
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


def _doubt(previewed: Previewed) -> CodeArray8:
    if previewed.passing:
        raise PageError(
            "doubt", "it is not known yet", remedy="ask when all frames are there", code="not-yet"
        )
    if previewed.doubt is None:
        raise PageError(
            "doubt",
            "there is none to show: it is about a median and about bridged gaps",
            remedy="choose the median of five frames or more, or bridge the gaps",
            code="no-doubt",
        )
    return previewed.doubt


def _encoded(shown: Shown, previewed: Previewed) -> Answer:
    """Return the answer that holds a picture."""
    import simplejpeg

    body = simplejpeg.encode_jpeg(shown.codes, quality=QUALITY, colorsubsampling="444")
    histogram = {
        "edges_stops": shown.histogram.edges_stops,
        "counts": {name: list(each) for name, each in shown.histogram.counts.items()},
    }
    told = {"X-Histogram": json.dumps(histogram, separators=(",", ":"))}
    if previewed.region is not None:
        told["X-Region"] = json.dumps(previewed.region)
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
