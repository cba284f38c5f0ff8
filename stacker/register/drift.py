"""A slow and even motion of what is seen: the sky turns, or the camera pans. No hand does that."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stacker.register.geometry import Motion, apply

# frames from which on an even motion can be told from a hand's
LEAST_FRAMES = 5
# How far frames may be off an even motion, as a share of how far it goes, and in pixels: clocks
# are whole seconds, and the distance of an arc from a parabola is far less.
MOST_UNEVEN_SHARE = 0.04
MOST_UNEVEN_PX = 0.5


def is_even_drift(
    motions: Sequence[Motion], starts_s: Sequence[float], size: tuple[int, int]
) -> bool:
    """Return whether a burst's motion is one slow arc that a parabola in time describes.

    Parameters
    ----------
    motions : to the reference, (3, 3) each, of the frames that are used.
    starts_s : when each was opened, seconds.
    size : (width, height) of the frames.
    """
    if len(motions) < LEAST_FRAMES:
        return False
    width, height = size
    corners = [(0, 0), (width - 1, 0), (0, height - 1), (width - 1, height - 1)]
    paths = np.stack([apply(motion, corners).ravel() for motion in motions])
    time = np.asarray(starts_s, dtype=np.float64)
    time = (time - time.min()) / max(float(np.ptp(time)), 1e-9)
    powers = np.stack([np.ones_like(time), time, time**2], axis=1)
    found, *_ = np.linalg.lstsq(powers, paths, rcond=None)
    uneven = float(np.sqrt(np.mean(np.sum((paths - powers @ found) ** 2, axis=1)) / 4))
    spread = paths - paths.mean(axis=0)
    gone = float(np.sqrt(np.mean(np.sum(spread**2, axis=1)) / 4))
    # three of the frames are always explained
    uneven *= float(np.sqrt(len(time) / (len(time) - 3)))
    return gone > 1.0 and uneven < max(MOST_UNEVEN_SHARE * gone, min(MOST_UNEVEN_PX, 0.2 * gone))
