"""The look at a burst's light before frames add up: how bright each frame is, and what is done."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.mixing import WHOLE, MaskArray
from stacker.burst import Burst
from stacker.engine.look import Look
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.light.encoding import PixelArray
from stacker.light.evening import LogLight, StillReference, cells_factor, log_cells, still_reference
from stacker.light.flicker import (
    LEAST_SEEN,
    Evenness,
    FrameGains,
    PartGains,
    judge_evenness,
)

# frames that the others are compared with, spread evenly over the burst
MOST_REFERENCE_FRAMES = 64


@dataclass(frozen=True, eq=False)
class Evened:
    """A burst in even light, what the report says of it, and a sentence for a person."""

    burst: Burst
    found: dict[str, Any]
    sentence: str


@dataclass(frozen=True, eq=False)
class Brightness:
    """How bright a frame is against the others, float64 (3,), and by either half, (2, 3)."""

    whole: np.ndarray[Any, np.dtype[np.float64]]
    halves: np.ndarray[Any, np.dtype[np.float64]]


def even_light(
    burst: Burst,
    settings: Settings,
    weights: Sequence[float],
    progress: Progress,
    part: MaskArray | None = None,
) -> Evened:
    """Return the burst with gains per frame where its light is uneven, else as it is.

    Frames that cannot be read are passed over here: the pass that blends will say so.

    Parameters
    ----------
    settings : ``even`` is not ``"off"``; all but ``"level"`` keeps slow changes.
    weights : one per frame of the burst; frames of weight 0 are not looked at.
    part : uint16 (H, W), the part that is looked at and evened; all of each frame if None.
    """
    places = [
        place
        for place, frame in enumerate(burst.frames)
        if weights[place] > 0 and frame.problem is None
    ]
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=bool(burst.corrections),
    )
    workers, _ = workers_within(settings.memory, worker_count(settings.workers), frame)
    measured = LightPass(burst, places, workers, progress, part).measure()
    known = sorted(measured)
    evenness = Evenness(np.ones((len(known), 3)), 0.0, float("nan"), needed=False, coloured=False)
    if len(known) > 1:
        evenness = judge_evenness(
            np.stack([measured[place].whole for place in known]),
            np.stack([measured[place].halves for place in known]),
            np.array([burst.frames[place].start_s for place in known]),
            keep_slow=settings.even != "level",
        )
    gains = np.ones((len(burst.frames), 3))
    gains[known] = evenness.gains
    found = {
        "evening": {
            "kept_slow_changes": settings.even != "level",
            "part": settings.even if part is not None else None,
            "applied": evenness.needed,
            "per_channel": evenness.coloured,
            "unevenness": _told(evenness.unevenness),
            "uncertainty": _told(evenness.uncertainty),
            "frames": [
                {"number": place + 1, "gains": [round(float(g), 6) for g in gains[place]]}
                for place in places
            ],
        }
    }
    sentence = _sentence(evenness, settings)
    if part is not None:
        sentence = f"of the {settings.even}, {sentence}"
    if not evenness.needed:
        return Evened(burst, found, sentence)
    whole = FrameGains(gains)
    return Evened(
        burst.corrected(whole if part is None else PartGains(whole, part)), found, sentence
    )


def _told(share: float) -> float | None:
    return round(share, 6) if np.isfinite(share) else None


def _sentence(evenness: Evenness, settings: Settings) -> str:
    what = "changes" if settings.even == "level" else "flickers"
    if evenness.needed:
        cast = ", with its colour" if evenness.coloured else ""
        return f"the light {what} by {_percent(evenness.unevenness)}{cast}: it is evened"
    if not np.isfinite(evenness.uncertainty):
        return "the light cannot be compared from frame to frame: it is left as it is"
    if evenness.unevenness <= LEAST_SEEN:
        return f"the light is even within {_percent(LEAST_SEEN)}: it is left as it is"
    return (
        f"the light {what} by no more than {_percent(evenness.unevenness)}, about as much as can "
        "be told of this burst: it is left as it is"
    )


def _percent(share: float) -> str:
    return f"{100 * share:.2g} %"


class LightPass:
    """One look at the frames: each is decoded once (those of a clip twice, beyond 64)."""

    def __init__(
        self,
        burst: Burst,
        places: Sequence[int],
        workers: int,
        progress: Progress,
        part: MaskArray | None = None,
    ) -> None:
        self.burst = burst
        self.places = places
        self.progress = progress
        self.factor = cells_factor(burst.size)
        self.look = Look(burst, workers)
        self.apart = None if part is None else _cells_apart(part, self.factor)

    def measure(self) -> dict[int, Brightness]:
        """Return how bright each frame is that can be read, by its place."""
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            self.progress.start("looking at the light", len(self.places))
            count = min(len(self.places), MOST_REFERENCE_FRAMES)
            chosen = {self.places[k * len(self.places) // count] for k in range(count)}
            cells: dict[int, LogLight] = {}
            self._visit(sorted(chosen), cells.__setitem__)
            if len(cells) < 2:
                return {}
            order = sorted(cells)
            reference = still_reference(
                [cells[place] for place in order],
                [self.burst.frames[place].start_s for place in order],
                self.burst.encoding,
            )
            found = {place: self._brightness(reference, place, cells[place]) for place in order}
            del cells

            def compare(place: int, seen: LogLight) -> None:
                found[place] = self._brightness(reference, place, seen)

            self._visit([place for place in self.places if place not in chosen], compare)
            return found
        finally:
            cv2.setNumThreads(threads)

    def _brightness(self, reference: StillReference, place: int, cells: LogLight) -> Brightness:
        time_s = self.burst.frames[place].start_s
        return Brightness(reference.gains_of(cells, time_s), reference.halves_of(cells, time_s))

    def _visit(self, places: Sequence[int], action: Callable[[int, LogLight], None]) -> None:
        """Call ``action`` with the cells of each frame that can be read, from several threads."""

        def show(place: int, pixels: PixelArray) -> None:
            cells = log_cells(pixels, self.burst.encoding, self.factor)
            if self.apart is not None:
                cells[self.apart] = np.nan
            action(place, cells)
            self.progress.advance()

        self.look.at(places, show, lambda _place, _error: self.progress.advance())


def _cells_apart(part: MaskArray, factor: int) -> npt.NDArray[np.bool_]:
    """Return the cells that do not lie wholly in a part, bool (h, w)."""
    rows, columns = part.shape[0] // factor, part.shape[1] // factor
    whole = np.asarray(part[: rows * factor, : columns * factor] == WHOLE, np.uint8)
    return np.asarray(whole.reshape(rows, factor, columns, factor).min(axis=(1, 3)) == 0)
