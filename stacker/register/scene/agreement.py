"""How much of the picture agrees with a motion: a vote by area.

A vote by features would be won by whoever wears the most texture, and a correlation peak by
whatever moves as one. The share of textured tiles that look alike is hard to win by accident.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.register.geometry import Motion, translation
from stacker.register.scene.align import sample
from stacker.register.scene.grey import Grey
from stacker.register.scene.tiles import Tiles

# correlation from which on a tile agrees, as a share of what noise leaves possible
ALIKE = 0.6
# a tile in which noise leaves less correlation than this possible has no vote
LEAST_POSSIBLE = 0.3
# A frame that hardly overlaps must not win by one corner: fewer tiles than this share of all
# count as that many.
LEAST_OVERLAP = 0.3


@dataclass(frozen=True)
class Agreement:
    """The share of the tiles that agree, 0 to 1, the share that had a vote, and who agrees."""

    share: float
    overlap: float
    agreeing: npt.NDArray[np.bool_]


def agreement(tiles: Tiles, frame: Grey, to_frame: Motion) -> Agreement:
    """Return how much of the reference's texture is where ``to_frame`` says, in the frame.

    Parameters
    ----------
    tiles : of the reference; those of the coarsest level are meant.
    to_frame : (3, 3) between the first levels of reference and frame.
    """
    value, use = sample(tiles, frame, to_frame)
    count = np.maximum(use.sum(axis=1), 1)
    zero = (tiles.value - ((tiles.value * use).sum(axis=1) / count)[:, None]) * use
    one = (value - ((value * use).sum(axis=1) / count)[:, None]) * use
    power0 = np.einsum("tk,tk->t", zero, zero) / count
    power1 = np.einsum("tk,tk->t", one, one) / count
    together = np.einsum("tk,tk->t", zero, one) / count
    alike = together / np.sqrt(np.maximum(power0 * power1, 1e-14))
    possible = 1 - tiles.noise_power / np.maximum(power0, 1e-12)
    voting = (count > 0.5 * use.shape[1]) & (possible > LEAST_POSSIBLE)
    agreeing = voting & (alike > ALIKE * np.clip(possible, 0, 1))
    total = max(int((possible > LEAST_POSSIBLE).sum()), 1)
    overlap = float(voting.sum() / total)
    return Agreement(
        float(agreeing.sum() / max(voting.sum(), LEAST_OVERLAP * total)), overlap, agreeing
    )


def chance_of(tiles: Tiles, reference: Grey) -> float:
    """Return the agreement that a wrong motion may get in this picture by accident.

    The reference is held against itself, displaced: repeating windows agree at a distance too.
    """
    if not tiles.count:
        return 0.0
    width, height = reference.size
    shares = []
    for across, down in ((0.07, 0.05), (-0.11, 0.04), (0.05, -0.13), (-0.06, -0.09), (0.17, 0.0)):
        aside = translation(across * width, down * height)
        shares.append(agreement(tiles, reference, aside).share)
    return float(np.mean(shares))
