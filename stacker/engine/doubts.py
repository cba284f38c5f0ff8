"""Where a median may show somebody after all: who stood there for more than half of the frames."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import ceil
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.burst import Burst
from stacker.engine.copies import copies_of
from stacker.engine.holding import Holding
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance
from stacker.register.geometry import is_identity, to_reduced
from stacker.survey.held import roots_of
from stacker.survey.movers import (
    LEAST_SEEN,
    LONG_SIDE,
    SIGMAS,
    Movers,
    chosen_frames,
    find_movers,
)

# A place that changed once, as where somebody stood for long, has two looks; the median shows that
# of the majority, whichever it is. Passers-by leave a great one; what moves all the time, as water,
# leaves none at all.
HALF, SMALL_MAJORITY = 0.5, 0.67
# places that the report lists
MOST_TOLD = 20

RootArray = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Doubts:
    """How sure a median is.

    Parameters
    ----------
    agreeing : float32 (h, w), the share of frames that agree with the median, on a small copy of
        the picture; None where it was not looked at.
    found : what the report says.
    warnings : sentences for a person.
    """

    agreeing: RootArray | None = None
    found: Mapping[str, Any] = field(default_factory=dict)
    warnings: Sequence[str] = ()


def doubts_of(
    burst: Burst,
    used: Sequence[int],
    holding: Holding,
    settings: Settings,
    progress: Progress,
) -> Doubts:
    """Return how sure a median of the frames at ``used`` is; nothing of fewer than five frames."""
    if not settings.doubts or "median" not in settings.blends:
        return Doubts()
    places = chosen_frames(used)
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    workers = worker_count(settings.workers)
    with copies_of(burst, places, factor, workers, progress, in_light=True) as copies:
        progress.start("looking for who stayed", len(places))

        def shown(number: int) -> LightArray:
            progress.advance()
            return _held(copies(places[number]), places[number], holding, burst, factor)

        numbers = range(len(places))
        roots, further = roots_of(shown, numbers, np.zeros(len(places)), LONG_SIDE)
    scale = factor * further
    movers = find_movers(roots, scale, resampled=bool(holding.warps))
    if movers is None:
        return Doubts()
    agreeing = _agreeing(roots, movers)
    boxes = _contested(agreeing, scale, holding.region.size)
    found = {
        "frames": len(places),
        "agreeing": round(float(agreeing.mean()), 4),
        "places": len(boxes),
        "boxes": boxes[:MOST_TOLD],
    }
    return Doubts(agreeing, {"doubts": found}, _told(boxes))


def _held(light: LightArray, place: int, holding: Holding, burst: Burst, factor: int) -> LightArray:
    """Return the luminance of the picture's region, three times, 0 where no frame reaches."""
    grey = luminance(np.ascontiguousarray(light), burst.encoding.space.luminance_weights)
    motion = holding.frames.get(place)
    if place in holding.warps and motion is not None and not is_identity(motion.to_reference):
        matrix = to_reduced(motion.to_reference, factor)
        grey = np.asarray(cv2.warpPerspective(grey, matrix, (grey.shape[1], grey.shape[0])))
    rows, columns = holding.region.rows, holding.region.columns
    cut = grey[
        rows.start // factor : max(rows.start // factor + 1, rows.stop // factor),
        columns.start // factor : max(columns.start // factor + 1, columns.stop // factor),
    ]
    return np.repeat(cut[:, :, np.newaxis], 3, axis=2)


def _agreeing(roots: RootArray, movers: Movers) -> RootArray:
    """Return the share of frames within the noise of the median, of those that reach there."""
    limit = np.float32(max(SIGMAS * movers.noise, LEAST_SEEN))
    # 0 has no noise: where a frame does not reach is told by NaN, which agrees with nothing
    there = np.isfinite(roots)
    filled = np.where(there, roots, movers.still)
    agree = (np.abs(filled - np.median(filled, axis=0)) <= limit) & there
    seen = np.maximum(there.sum(axis=0), 1)
    return np.asarray(agree.sum(axis=0) / seen, np.float32)


def _contested(agreeing: RootArray, scale: int, size: tuple[int, int]) -> list[list[int]]:
    """Return boxes, in pixels of the picture, of places won by a small majority, largest first."""
    won = ((agreeing >= HALF) & (agreeing < SMALL_MAJORITY)).astype(np.uint8)
    # a thin line is the rim of something that was held a bit off
    won = np.asarray(cv2.morphologyEx(won, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
    _, _, stats, _ = cv2.connectedComponentsWithStats(won, None)
    places = sorted(stats[1:].tolist(), key=lambda place: -place[cv2.CC_STAT_AREA])
    boxes = [[value * scale for value in place[:4]] for place in places]
    width, height = size
    return [[x, y, min(wide, width - x), min(high, height - y)] for x, y, wide, high in boxes]


def _told(boxes: Sequence[Sequence[int]]) -> list[str]:
    if not boxes:
        return []
    x, y, width, height = boxes[0]
    places = "one place" if len(boxes) == 1 else f"{len(boxes)} places"
    return [
        f"somebody may be left in {places}, where something came or went and the frames are nearly "
        f"divided; the largest is {width} x {height} pixels at {x},{y}"
    ]
