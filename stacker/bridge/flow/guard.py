"""Where the flow explains what changed between two frames, and may be trusted with the gap."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.flow.motion import grid, look_at
from stacker.bridge.flow.passage import Moment
from stacker.bridge.flow.tones import Noise, Tone

Ways = npt.NDArray[np.float32]

# what is left unexplained is compared with what changed over so many cells
WINDOW_CELLS = 4.0
# the flow is trusted in full while it leaves this share of the change, and not at all from here
FULL_SHARE, NO_SHARE = 0.65, 1.0
# the change counts from so many times its noise (variances), and in full from the second figure
LEAST_CHANGE, FULL_CHANGE = 1.7, 3.0
# interpolation takes so much of a difference's noise away
NOISE_LEFT = 0.6
# steps of less than this are finer than the picture, in pixels; full from the second on
LEAST_WAY_PX, FULL_WAY_PX = 0.4, 0.8
# trust below this is none: exactly nothing is added there
LEAST_TRUST = 0.02


def trusted(
    earlier: Tone, later: Tone, between: Sequence[Moment], noise: Noise, factor: int
) -> Tone:
    """Return how far the ways at some moments are to be trusted, float32 (h, w), 0 to 1.

    Parameters
    ----------
    earlier, later : tones, float32 (h, w).
    between : some moments; their knots may be coarser than the cells.
    factor : pixels along a cell's side.
    """
    height, width = earlier.shape
    left_over = np.zeros((height, width), np.float32)
    explained = np.zeros((height, width), np.float32)
    seen = np.full((height, width), 1e-3, np.float32)
    way = np.zeros((height, width), np.float32)
    for moment in between:
        ways = ways_of_cells(moment, (width, height))
        both = cv2.resize(moment.in_both, (width, height))
        one, other = carried(earlier, later, ways)
        left_over += both * (one - other) ** 2
        seen += both
        explained += 0.5 * ((one - earlier) ** 2 + (other - later) ** 2)
        way += np.hypot(ways[..., 0] - ways[..., 2], ways[..., 1] - ways[..., 3])
    change = np.maximum((earlier - later) ** 2, explained / len(between))
    grain = 2 * noise.at(0.5 * (earlier + later))
    change, grain = _about(change), _about(grain)
    left_over = _about(left_over) / _about(seen)
    unexplained = np.maximum(left_over - np.float32(NOISE_LEFT) * grain, 0)
    share = np.sqrt(unexplained / np.maximum(change - grain, np.float32(1e-9)))
    trust = _ramp(np.asarray(share, np.float32), NO_SHARE, FULL_SHARE)
    trust *= _ramp(np.asarray(change / grain, np.float32), LEAST_CHANGE, FULL_CHANGE)
    trust *= _ramp(_about(way) * np.float32(factor / len(between)), LEAST_WAY_PX, FULL_WAY_PX)
    trust = _about(trust)
    return np.where(trust < LEAST_TRUST, np.float32(0), trust)


def ways_of_cells(moment: Moment, size: tuple[int, int]) -> Ways:
    """Return the ways of a moment for ``size`` (width, height) cells, in cells, (h, w, 4)."""
    scale = size[0] / moment.of_earlier.shape[1]
    return np.asarray(cv2.resize(moment.ways, size) * np.float32(scale), np.float32)


def carried(earlier: Tone, later: Tone, ways: Ways) -> tuple[Tone, Tone]:
    """Return both tones, float32 (h, w), as they are where ``ways`` (h, w, 4) lead."""
    places = grid(*earlier.shape)
    return look_at(earlier, places + ways[..., :2]), look_at(later, places + ways[..., 2:])


def _about(values: Tone) -> Tone:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), WINDOW_CELLS), np.float32)


def _ramp(values: Tone, none: float, full: float) -> Tone:
    return np.asarray(np.clip((values - none) / (full - none), 0, 1), np.float32)
