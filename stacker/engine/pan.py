"""What is told of a pan: how far the world streaked behind the subject that was held."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from math import ceil, hypot
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
from stacker.light.luminance import luminance
from stacker.register.geometry import apply, identity, to_reduced

# copies in which the world's motion is looked for; a streak is told to a pixel or two of these
LONG_SIDE = 640
# The subject with its rims is taken out over so much more than its box.
ROOM = 1.15
# a peak of the correlation below this is none: two pictures without anything in common give 0.02
LEAST_RESPONSE = 0.05
# of the steps from frame to frame those that must be known
LEAST_KNOWN = 0.5

RootArray = npt.NDArray[np.float32]


def told_of_pan(
    burst: Burst,
    used: Sequence[int],
    holding: Holding,
    settings: Settings,
    progress: Progress,
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what the report says of the world's streaks, and a sentence for a person.

    Nothing where no subject was held.
    """
    box = holding.box or settings.box
    is_pan = settings.subject is not None and settings.subject.name == "pan"
    held = (holding.instead or settings.hold) == "subject"
    if not (is_pan and held and box is not None and len(used) > 1):
        return {}, ()
    factor = max(1, ceil(max(burst.size) / LONG_SIDE))
    workers = worker_count(settings.workers)
    with copies_of(burst, used, factor, workers, progress) as copies:
        progress.start("looking at the streaks", len(used))
        worlds = []
        for place in used:
            grey = luminance(
                np.ascontiguousarray(copies(place)), burst.encoding.space.luminance_weights
            )
            worlds.append(_world(grey, place, used[0], box, holding, factor))
            progress.advance()
    steps = [_step(*pair) for pair in itertools.pairwise(worlds)]
    known = [factor * step for step in steps if step is not None]
    if len(known) < LEAST_KNOWN * len(steps):
        return {"streak": None}, ("how far the world streaked cannot be told: it is too even",)
    # steps that are not known are taken to be as the others
    span_px = float(np.mean(known)) * len(steps)
    return _told(burst, used, span_px)


def _told(
    burst: Burst, used: Sequence[int], span_px: float
) -> tuple[dict[str, Any], tuple[str, ...]]:
    first, last = burst.frames[used[0]], burst.frames[used[-1]]
    elapsed_s = last.start_s - first.start_s
    shutters = [burst.frames[place].shutter_s for place in used]
    known = [each for each in shutters if each is not None]
    frame_px = None
    if elapsed_s > 0 and len(known) == len(shutters):
        frame_px = span_px / elapsed_s * float(np.median(known))
    found = {
        "span_px": round(span_px, 1),
        "step_px": round(span_px / (len(used) - 1), 1),
        "frame_px": None if frame_px is None else round(frame_px, 1),
    }
    sentence = (
        f"the world moved {span_px:.0f} px against the subject from the first frame to the last, "
        f"{span_px / (len(used) - 1):.0f} px from frame to frame"
    )
    if frame_px is not None:
        sentence += f", {frame_px:.2g} px of it while each was open"
    return {"streak": found}, (sentence,)


def _world(
    grey: RootArray,
    place: int,
    first: int,
    box: Sequence[float],
    holding: Holding,
    factor: int,
) -> RootArray:
    """Return the root of a frame's light as the subject's frame sees it, the subject taken out."""
    size = (grey.shape[1], grey.shape[0])
    root = np.sqrt(np.maximum(grey, 0))
    root -= cv2.GaussianBlur(root, (0, 0), size[0] / 16)
    motion = holding.frames.get(place)
    matrix = identity() if motion is None else to_reduced(motion.to_reference, factor)
    held = np.asarray(cv2.warpPerspective(root, matrix, size), np.float32)
    start = holding.frames.get(first)
    x, y, width, height = box
    middle = np.array([[x + width / 2, y + height / 2]])
    middle = middle if start is None else apply(start.to_reference, middle)
    left, top = (middle[0] - np.array([width, height]) * ROOM / 2) / factor
    right, bottom = (middle[0] + np.array([width, height]) * ROOM / 2) / factor
    held[
        max(0, int(top)) : max(0, ceil(bottom)),
        max(0, int(left)) : max(0, ceil(right)),
    ] = 0
    return held


def _step(before: RootArray, after: RootArray) -> float | None:
    """Return how far the world moved between two frames, pixels of the copies; None if unsure.

    Source: C. D. Kuglin and D. C. Hines, "The phase correlation image alignment method", Proc.
    IEEE Conf. Cybernetics and Society (1975).
    """
    window = cv2.createHanningWindow((before.shape[1], before.shape[0]), cv2.CV_32F)
    (x, y), response = cv2.phaseCorrelate(before, after, window)
    return hypot(x, y) if response >= LEAST_RESPONSE else None
