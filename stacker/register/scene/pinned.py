"""Parts of the picture that stay where they are to a fraction of a pixel: no hand does that.

By area alone a turning sky, or a harbour of drifting boats, would outvote the ground below it.
But where some tiles, the same ones in frame after frame, have not moved at all, the camera has
not either, however much of the picture moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import identity
from stacker.register.scene.align import NEIGHBOURS_ALIKE, ask, sample, surprise
from stacker.register.scene.grey import Grey
from stacker.register.scene.tiles import Tiles

Flags = npt.NDArray[np.bool_]

# a tile is asked if noise lets it tell a shift of this size in any direction, px of the copy
TELLS_PX = 0.15
# ... and has stayed if it lies within this of where it was, but for noise
STAYED_PX = 0.04
SURPRISE = 9.0
# correlation with the reference that a tile which stayed has
ALIKE = 0.75
# share of the frames in which a tile has to have stayed
PERSISTENT = 0.75
# so many persistent tiles, and such a share of those that can tell, pin the camera down
LEAST_TILES = 6
LEAST_SHARE = 0.04
# ... as long as together they do not wish to move by more than this
SHARED_PX = 0.04
# how far pixels may be off before they count less
TOLERANCE_PX = 0.3


@dataclass(frozen=True, eq=False)
class Stays:
    """Which tiles of one frame have stayed where they were.

    ``stays`` and ``tells`` bool (T,): have stayed, and could tell; ``matrix`` (T, 2, 2) and
    ``vector`` (T, 2): the normal equations of their shifts, divided by their noise.
    """

    stays: Flags
    tells: Flags
    matrix: npt.NDArray[np.float32]
    vector: npt.NDArray[np.float32]


def stays_of(tiles: Tiles, frame: Grey, noise: float) -> Stays:
    """Return which tiles have stayed where they were.

    Parameters
    ----------
    tiles : of the reference's first level.
    noise : deviation of the residuals of quiet tiles, as a fit of the frame found it.
    """
    value, use = sample(tiles, frame, identity())
    answers = ask(tiles, value, use, noise, TOLERANCE_PX)
    variance = np.maximum(answers.variance, noise**2) * NEIGHBOURS_ALIKE[0]
    known = answers.matrix * tiles.signal[:, None, None]
    weakest = np.linalg.eigvalsh(known)[:, 0]
    tells = (weakest > variance / TELLS_PX**2) & (answers.inside > 0.5)
    expected = variance[:, None, None] * answers.matrix
    expected = expected + STAYED_PX**2 * answers.matrix @ answers.matrix
    still = surprise(answers.vector, expected) < SURPRISE
    return Stays(
        stays=tells & still & (answers.alike > ALIKE),
        tells=tells,
        matrix=(known / variance[:, None, None]).astype(np.float32),
        vector=(answers.vector / variance[:, None]).astype(np.float32),
    )


def pinned(frames: Sequence[Stays]) -> Flags | None:
    """Return the tiles that pin the camera down over a burst, bool (T,), or None.

    ``frames`` are those other than the reference.
    """
    asked = np.sum([frame.tells for frame in frames], axis=0)
    stays = np.sum([frame.stays for frame in frames], axis=0)
    often = asked >= max(1, round(PERSISTENT * len(frames)))
    persistent = often & (stays >= PERSISTENT * np.maximum(asked, 1))
    if persistent.sum() < max(LEAST_TILES, LEAST_SHARE * often.sum()):
        return None
    shifts = [_shared_shift(frame, persistent) for frame in frames]
    return persistent if np.median(shifts) < SHARED_PX else None


def _shared_shift(frame: Stays, persistent: Flags) -> float:
    """Return how far the tiles together wish to move, px.

    Each alone may be too noisy to tell a tenth of a pixel from nothing.
    """
    matrix = frame.matrix[persistent].sum(axis=0).astype(float) + 1e-9 * np.eye(2)
    vector = frame.vector[persistent].sum(axis=0)
    return float(np.linalg.norm(np.linalg.solve(matrix, vector)))


def share_of(frame: Stays, pins: Flags) -> float:
    """Return the share of the pinned tiles that have stayed in a frame."""
    return float(frame.stays[pins].sum() / pins.sum())
