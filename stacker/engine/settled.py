"""How a whole burst is held, settled once, for previews of any span of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from stacker.burst import Burst
from stacker.engine.hold import hold_again
from stacker.engine.holding import Holding
from stacker.engine.look import Look
from stacker.engine.passes import resampled_rows, worker_count
from stacker.engine.progress import Progress
from stacker.engine.reduced import to_codes
from stacker.engine.settings import Settings
from stacker.engine.subject_hold import hold_for_subject
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray


def settled_holding(
    burst: Burst, places: Sequence[int], settings: Settings, progress: Progress
) -> Holding:
    """Return how the frames at ``places`` are put upon each other, after a look at all of them.

    What an exposure finds out while frames add up is found out here before.

    Raises
    ------
    StackerError
        As an exposure.
    """
    holding = hold_for_subject(burst, places, settings, progress, lambda: None)
    if holding.watcher is None:
        return holding
    watcher = holding.watcher
    progress.start("looking at the frames", len(places))

    def show(place: int, pixels: PixelArray) -> None:
        watcher(place, pixels)
        progress.advance()

    def fail(place: int, error: FrameError) -> None:
        progress.advance()

    Look(burst, worker_count(settings.workers)).at(places, show, fail)
    if watcher.doubtful():
        return hold_again(burst, places, holding, settings, progress)
    return replace(holding, watcher=None)


def held_codes(burst: Burst, holding: Holding, place: int, pixels: PixelArray) -> PixelArray:
    """Return a frame as the holding has it, cut to its region, in the burst's codes."""
    region = holding.region
    rows, columns = region.rows, slice(region.columns.start, region.columns.stop)
    warp = holding.warps.get(place)
    if warp is None:
        return np.ascontiguousarray(pixels[rows.start : rows.stop, columns])
    light = np.empty((len(rows), pixels.shape[1], 3), np.float32)
    resampled_rows(warp, pixels, burst.encoding, rows, out=light)
    return to_codes(np.ascontiguousarray(light[:, columns]), burst.encoding)
