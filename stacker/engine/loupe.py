"""A small part of an exposure from the frames at full size, pixel for pixel."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stacker.blend import Intake, find_blend
from stacker.burst import Burst
from stacker.engine.expose import as_set
from stacker.engine.holding import Holding
from stacker.engine.look import Look
from stacker.engine.passes import resampled_rows, worker_count
from stacker.engine.progress import Progress
from stacker.engine.report import open_time
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.errors import FrameError
from stacker.light.encoding import Encoding, Picture, PixelArray
from stacker.register import MOST_OVERSHOOT, Warp
from stacker.register.geometry import to_full


@dataclass(frozen=True)
class Part:
    """Rows and columns of a frame at full size."""

    rows: range
    columns: range


def part_about(x: float, y: float, side: int, size: tuple[int, int]) -> Part:
    """Return the square of ``side`` pixels about a place, moved to lie within (width, height)."""
    ranges = []
    for place, length in ((y, size[1]), (x, size[0])):
        extent = min(side, length)
        start = int(np.clip(round(place - extent / 2), 0, length - extent))
        ranges.append(range(start, start + extent))
    return Part(*ranges)


def expose_part(
    burst: Burst,
    places: Sequence[int],
    settings: Settings,
    part: Part,
    progress: Progress,
    *,
    holding: Holding | None = None,
    factor: int = 1,
) -> Shot:
    """Return part of the exposure of frames at ascending places, which are read for it.

    Parameters
    ----------
    settings : its blend and the numbers that belong to it; nothing else of them is done.
    part : of the frame that the others are brought to.
    holding : how frames reduced by ``factor`` are put upon each other; as they lie if None.

    Raises
    ------
    FrameError
        None of the frames can be read.
    """
    weights = tuple(1.0 if p in places else 0.0 for p in range(len(burst.frames)))
    parts = _parts(burst, places, part, progress, holding, factor)
    there = [place for place in places if place in parts]
    weights = tuple(w if p in parts else 0.0 for p, w in enumerate(weights))
    intake = _intake(burst, weights, resampled=bool(holding and holding.warps))
    blend = as_set(find_blend(settings.blends[0]), settings, burst, weights)
    blended = blend.start(intake, len(part.rows), len(part.columns))
    for place in there:
        blended.add(parts[place], index=place)
    picture: Picture = blend.settle([blended])[0].result()
    open_s = open_time(burst, there, weights)
    return Shot(
        pieces=[picture],
        columns=range(len(part.columns)),
        size=(len(part.columns), len(part.rows)),
        space=burst.encoding.space,
        brightest=blend.brightest(intake),
        open_s=open_s,
        exif=None,
        burst=burst,
        sources=burst.sources,
        report={"frames_used": len(there), "open_s": open_s, "warnings": []},
    )


def _parts(
    burst: Burst,
    places: Sequence[int],
    part: Part,
    progress: Progress,
    holding: Holding | None,
    factor: int,
) -> dict[int, PixelArray]:
    """Return the part of each frame that can be read, as the first one saw it."""
    parts: dict[int, PixelArray] = {}
    errors: dict[int, FrameError] = {}
    rows, columns = part.rows, slice(part.columns.start, part.columns.stop)
    progress.start("looking closely", len(places))

    def show(place: int, pixels: PixelArray) -> None:
        warp = _warp(holding, place, burst, factor)
        if warp is None:
            parts[place] = pixels[rows.start : rows.stop, columns].copy()
        else:
            light = np.empty((len(rows), pixels.shape[1], 3), np.float32)
            resampled_rows(warp, pixels, burst.encoding, rows, out=light)
            parts[place] = np.ascontiguousarray(light[:, columns])
        progress.advance()

    def fail(place: int, error: FrameError) -> None:
        errors[place] = error
        progress.advance()

    Look(burst, worker_count(None)).at(places, show, fail)
    if not parts:
        raise errors[min(errors)]
    return parts


def _warp(holding: Holding | None, place: int, burst: Burst, factor: int) -> Warp | None:
    """Return how a frame at full size is resampled; None where frames are used as they lie."""
    found = holding.warps.get(place) if holding is not None else None
    if found is None:
        return None
    local = found.local and found.local.to_full(factor)
    return Warp(to_full(found.to_reference, factor), burst.size, local)


def _intake(burst: Burst, weights: tuple[float, ...], *, resampled: bool) -> Intake:
    if not resampled:
        return Intake(burst.encoding, weights, ordered=True)
    codes = None if burst.encoding.is_light else burst.encoding
    light = Encoding("float32", burst.encoding.space)
    return Intake(light, weights, codes=codes, brightest=MOST_OVERSHOOT, ordered=True)
