"""The exposure of a span from frames in memory: quickly, or as the engine makes it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from stacker.burst import Burst
from stacker.engine import expose_burst
from stacker.engine.preview import for_reduced
from stacker.engine.progress import Progress
from stacker.engine.quick_spans import quick_shot, slow_reasons, span_places
from stacker.engine.reduced import timed_as
from stacker.engine.settings import Settings
from stacker.engine.settings_file import Chosen
from stacker.engine.shot import Shot
from stacker.engine.shown import doubt_mask
from stacker.engine.span import span_of
from stacker.errors import BurstError
from stacker.finish.shown import CodeArray8
from stacker.page.leaving import turn
from stacker.page.opened import Opened
from stacker.page.views import Level, View

RESTS = "once the span rests"
NOT_SHOWN = "shows in the result only, not in this preview"
# a finished exposure, and where it is in doubt
Kept = tuple[Shot, CodeArray8 | None]


@dataclass(frozen=True, eq=False)
class Previewed:
    """An exposure, sentences about it, and whether it will soon be another."""

    shot: Shot
    notes: tuple[str, ...] = ()
    passing: bool = False
    factor: int = 1
    doubt: CodeArray8 | None = None
    region: tuple[int, int, int, int] | None = None


def preview(
    opened: Opened,
    chosen: Chosen,
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

    Raises
    ------
    StackerError
        The settings do not fit the burst.
    """
    timed = opened.timed(chosen.opening)
    settings = replace(chosen.settings, doubts=False)
    if settings.first is not None and settings.first == settings.last:
        # whoever looks at one frame alone wants to see it
        settings = replace(settings, without=(), hold="still", box=None, weights=None)
    view, notes, passing = opened.view_for(settings)
    if coarse or passing:
        # what takes long is not done for a picture that will be another
        settings, left = stripped(settings)
        notes = [*notes, *left]
    elif doubtful and "median" in settings.blends:
        settings = replace(settings, doubts=True)
    level = view.coarse if coarse else view.fine
    factor = opened.factor * (view.times if coarse else 1)
    places, told = usable_places(opened, timed, view, level, settings)
    notes += [*told, *_unshown(chosen)]
    slow = slow_reasons(settings)
    if settings.doubts and "median" in settings.blends:
        slow.append("doubts are looked for")
    if view.partly and coarse:
        notes.append("edges that few frames reach come out right once the span rests")
    elif view.partly:
        slow.append("some frames reach parts of the picture only")
    if not slow:
        known = opened.known if view is opened.plain else len(opened.burst.frames)
        burst = timed_as(level.burst, timed)
        shot = quick_shot(burst, level.spans, settings.blends[0], places, known=known)
        return Previewed(shot, tuple(notes), passing, factor, region=view.whole_region)
    shot, doubt = _slow(opened, timed, view, level, settings, places, progress)
    notes += [warning for warning in shot.report["warnings"] if warning not in notes]
    return Previewed(shot, tuple(notes), passing, factor, doubt, view.whole_region)


def _unshown(chosen: Chosen) -> list[str]:
    """Return sentences about what frames in memory do not show."""
    said = chosen.said
    calibrated = any(said.get(name) for name in ("darks", "flats", "biases"))
    unshown = {
        f"calibration {NOT_SHOWN}": calibrated or said.get("hot_pixels") == "mend",
        f"the choice of highlights {NOT_SHOWN}": said.get("highlights", "clip") != "clip",
    }
    return [sentence for sentence, is_so in unshown.items() if is_so]


def usable_places(
    opened: Opened, timed: Burst, view: View, level: Level, settings: Settings
) -> tuple[list[int], list[str]]:
    """Return the frames of the span that can be used, and sentences about the others."""
    wanted = span_places(timed, settings)
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
        name, ready = opened.path.name, opened.is_ready
        why = "no frame of this span " + ("can be used" if ready else "was read yet")
        remedy = "choose a longer span" if ready else "wait a moment"
        raise BurstError(name, why, remedy=remedy, code="burst-no-frames" if ready else "not-yet")
    return places, notes


def _slow(
    opened: Opened,
    timed: Burst,
    view: View,
    level: Level,
    settings: Settings,
    places: list[int],
    progress: Progress,
) -> Kept:
    """Return the exposure as the engine makes it from the frames in memory, or as it is kept."""
    held = _held(opened.factor, timed, view, settings, places)
    burst = level.burst
    if level is view.fine and (view.partly or settings.regions):
        # what frames do not reach, and how a region is held, only the engine itself knows
        held = replace(for_reduced(settings, opened.factor), on_bad="skip")
        burst = opened.plain.fine.burst
    key = (level.number, held, timed.frames[0].shutter_s, timed.frames[-1].start_s)
    kept: Kept | None = opened.kept(key)
    if kept is not None:
        return kept
    # few at a time: each takes all processors and much memory
    with turn(opened.slow, progress):
        shot = next(
            iter(expose_burst(timed_as(burst, opened.burst), held, progress=progress).values())
        )
    # what it was made with, such as all values of a median, is let go
    kept = replace(shot, pieces=[shot.light], columns=range(shot.size[0])), doubt_mask(shot)
    if opened.is_ready:
        opened.keep(key, kept)
    return kept


def _held(factor: int, timed: Burst, view: View, settings: Settings, places: list[int]) -> Settings:
    """Return the settings for frames that lie upon each other already."""
    span = span_of(timed, settings)
    weights = settings.weights
    if view.weights is not None and settings.blends == ("mean",):
        given = weights or (1.0,) * len(span)
        weights = tuple(w * view.weights[p] for w, p in zip(given, span, strict=True))
    return replace(
        for_reduced(settings, factor),
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


def stripped(settings: Settings) -> tuple[Settings, list[str]]:
    """Return the settings without what takes long, and sentences about what is left away."""
    left = {
        f"the gaps are bridged {RESTS}": bool(settings.bridge),
        f"the noise floor is corrected {RESTS}": settings.floor == "true",
        f"light is evened {RESTS}": settings.even != "off",
        f"bursts are chosen {RESTS}": settings.keep_bursts is not None,
        f"regions show {RESTS}": bool(settings.regions),
        f"planes are taken out {RESTS}": settings.planes == "out",
        f"passes of the lamp are changed {RESTS}": bool(settings.passes),
    }
    quick = replace(
        settings,
        bridge=None,
        floor="plain",
        even="off",
        keep_bursts=None,
        doubts=False,
        regions=(),
        masks=(),
        planes="keep",
        find_passes=False,
        passes=(),
    )
    return quick, [sentence for sentence, is_so in left.items() if is_so]
