"""Where things went between two neighbouring frames, densely, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.flow.steady import Flow
from stacker.bridge.flow.tones import Detail, Tone, detail_of

# candidates are compared by what they leave unexplained over so many cells
COMPARED_CELLS = 3.0
# a flow found without the burst's steady flow has to be better than it by this factor
BETTER = 0.8
# cells by which the way there and back may miss: nothing is lost up to here, all from there on,
# more where the way is long
MISS_FULL, MISS_NONE, MISS_SHARE = 1.0, 3.0, 0.1


@dataclass(frozen=True, eq=False)
class PairFlow:
    """Where things went.

    Parameters
    ----------
    forward, backward : float32 (h, w, 2), from the earlier frame's cells to the later one's, and
        back, (x, y) in cells.
    sure_forward, sure_backward : float32 (h, w), 0 to 1: whether the way back leads home.
    """

    forward: Flow
    backward: Flow
    sure_forward: Tone
    sure_backward: Tone


def grid(height: int, width: int) -> Flow:
    """Return the place of each cell, float32 (h, w, 2), (x, y)."""
    y, x = np.mgrid[:height, :width].astype(np.float32)
    return np.stack([x, y], axis=-1)


def look_at(values: npt.NDArray[Any], places: Flow) -> npt.NDArray[Any]:
    """Return ``values`` at ``places`` (h, w, 2), interpolated, repeated beyond the edges."""
    x, y = cv2.split(places)
    moved = cv2.remap(values, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved)


def pair_flow(earlier: Tone, later: Tone, steady: Flow, spread: float) -> PairFlow:
    """Return the flow between two tones, float32 (h, w), from the steady flow of the burst."""
    places = grid(*earlier.shape)
    one, other = detail_of(earlier, spread), detail_of(later, spread)
    forward = _one_way(one, other, steady, places)
    backward = _one_way(other, one, _reversed(steady, places), places)
    return PairFlow(
        forward,
        backward,
        _comes_home(forward, backward, places),
        _comes_home(backward, forward, places),
    )


def _reversed(steady: Flow, places: Flow) -> Flow:
    """Return the way back of a steady flow: at a cell, where what is there came from."""
    back = -steady
    for _ in range(3):
        back = -look_at(steady, places + back)
    return back


def _one_way(one: Detail, other: Detail, steady: Flow, places: Flow) -> Flow:
    """Return the best of the flow about the steady one, that found without it, and none."""
    best = np.zeros_like(steady)
    least: Tone | None = None
    starts = [steady, np.zeros_like(steady)] if steady.any() else [steady]
    for start in starts:
        flow = start + _dense(one, _moved(other, places + start))
        left_over = _left_over(one, _moved(other, places + flow))
        if least is None:
            best, least = flow, left_over
            continue
        better = left_over < BETTER * least
        best = np.where(better[..., None], flow, best)
        least = np.where(better, left_over, least)
    assert least is not None
    # the ground beside what moves must not be dragged along
    still = _left_over(one, other) < BETTER * least
    return np.where(still[..., None], np.float32(0), best)


def _moved(detail: Detail, places: Flow) -> Detail:
    return np.asarray(look_at(detail, places), np.uint8)


def _left_over(one: Detail, other: Detail) -> Tone:
    """Return how much two pictures differ about each cell, in codes."""
    difference = cv2.absdiff(one, other).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(difference, (0, 0), COMPARED_CELLS), np.float32)


def _dense(one: Detail, other: Detail) -> Flow:
    """Return the flow of small and medium steps between two pictures of uint8.

    Source: Kroeger, Timofte, Dai and Van Gool, "Fast optical flow using dense inverse search",
    ECCV 2016, doi:10.1007/978-3-319-46493-0_29.
    """
    search = cv2.DISOpticalFlow.create(cv2.DISOPTICAL_FLOW_PRESET_MEDIUM)
    return np.asarray(search.calc(one, other, np.zeros((*one.shape, 2), np.float32)), np.float32)


def _comes_home(there: Flow, back: Flow, places: Flow) -> Tone:
    """Return 1 where the way there and back ends where it began, down to 0 where it does not.

    What leaves the picture is not seen in the other frame.
    """
    miss = there + look_at(back, places + there)
    length = np.hypot(there[..., 0], there[..., 1])
    off = np.hypot(miss[..., 0], miss[..., 1]) - MISS_SHARE * length
    sure = np.clip((MISS_NONE - off) / (MISS_NONE - MISS_FULL), 0, 1)
    x, y = np.moveaxis(places + there, -1, 0)
    height, width = off.shape
    inside = (x > -0.5) & (x < width - 0.5) & (y > -0.5) & (y < height - 0.5)
    return np.asarray(sure * inside, np.float32)
