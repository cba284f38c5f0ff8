"""Whether a frame belongs in the picture, and if not, why, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

# light, as a share of the frames about it, below which a frame is black, or above which flashed
BLACK_SHARE = 0.15
FLASH_SHARE = 2.5
# so many frames to either side say how much light is usual
ABOUT = 3
# detail left, as a share of the reference's, below which a frame is blurred
BLURRED = 0.5
# A frame that has this share of the usual squared slope is not blurred, whatever walkers have
# covered of what is compared: half the detail along one direction leaves 0.6 of it.
UNBLURRED = 0.8
# how many standard deviations of the comparison are given to a frame's favour
ERRORS = 3.0
# a frame counts wholly from this share on, and less below it
SHARP = 0.85
# blur along one direction more than across it by this factor is motion
ONE_WAY = 0.7
# detail, as a share of the usual, below which a frame shows nothing at all
COVERED_SHARE = 0.1
BLACK = "it is black"
FLASHED = "a flash or other light lit all of it"
COVERED = "it shows nothing of the scene: covered, or in fog"
# reasons that speak of a frame's light alone: where light is the subject, they are none
ODD_LIGHT = frozenset((BLACK, FLASHED, COVERED))
# a motion less certain than this, in pixels of the copy, is not known
MOST_UNCERTAIN_PX = 2.0


@dataclass(frozen=True)
class Look:
    """What is known of a frame before the verdict.

    ``needed``: the agreement below which a frame shows something else; ``sure``: whether tiles
    asked one by one agree on a motion, None where they were not asked.
    ``dim_light``: the light that a tenth of the picture stays below; ``detail``: mean squared
    slope without noise; ``worst``, ``best``, ``error``: see ``Sharpness``; ``uncertain_px``
    how well its motion is known.
    """

    mean_light: float
    dim_light: float
    detail: float
    agreement: float
    worst: float
    best: float
    error: float
    uncertain_px: float
    needed: float = 0.0
    sure: bool | None = None

    @property
    def lost(self) -> bool:
        """Whether the frame shows something else, for all one can tell."""
        return self.agreement < self.needed


def verdicts(looks: Sequence[Look]) -> list[str | None]:
    """Return for each frame of a burst why it is left out, or None where it is used."""
    mean = np.array([look.mean_light for look in looks])
    dim = np.array([look.dim_light for look in looks])
    sharp = [look for look in looks if not look.lost]
    worst, best = (_upper([getattr(look, side) for look in sharp]) for side in ("worst", "best"))
    usual_detail = float(np.median([look.detail for look in looks]))
    # slopes of the root of light grow with the root of the exposure
    exposed = [look.detail / max(look.mean_light, 1e-6) for look in looks]
    usual_exposed = float(np.median([share for share, look in zip(exposed, looks, strict=True)
                                     if not look.lost] or exposed))  # fmt: skip
    found = []
    for number, look in enumerate(looks):
        near = np.arange(max(0, number - ABOUT), min(len(looks), number + ABOUT + 1))
        near = near[near != number]
        usual = float(np.median(mean[near])) if len(near) else look.mean_light
        usual_dim = float(np.median(dim[near])) if len(near) else look.dim_light
        relative = replace(
            look, worst=look.worst / worst, best=look.best / best, error=look.error / worst
        )
        lit = look.mean_light > BLACK_SHARE * usual
        crisp = lit and exposed[number] > UNBLURRED * usual_exposed
        found.append(_verdict(relative, usual, usual_dim, usual_detail, crisp))
    return found


def weights_of(looks: Sequence[Look]) -> list[float]:
    """Return how much each frame of a burst should count in a mean, above 0 up to 1.

    The square of the detail that it has for certain lost, as a frame's weight goes by the square
    of its signal; noise alone costs nothing.
    """
    worst = _upper([look.worst for look in looks if not look.lost])
    shares = [(look.worst + ERRORS * look.error) / worst for look in looks]
    return [1.0 if share >= SHARP else max(share / SHARP, BLURRED) ** 2 for share in shares]


def _upper(values: list[float]) -> float:
    """Return what the sharper half of the frames has in the middle."""
    return max(float(np.percentile(values, 75)), 1e-3) if values else 1.0


def _verdict(
    look: Look, usual: float, usual_dim: float, usual_detail: float, crisp: bool
) -> str | None:
    if look.mean_light < BLACK_SHARE * usual and look.lost:
        return BLACK
    # a firework lights up its part of the sky; a flash, or a lens opened to the sun, all of it
    flashed = look.dim_light > FLASH_SHARE * usual_dim + 1e-3
    if flashed and look.mean_light > FLASH_SHARE * usual:
        return FLASHED
    if look.lost:
        if look.detail < COVERED_SHARE * usual_detail:
            return COVERED
        return "it shows something else: the camera was bumped or turned away"
    if look.worst + ERRORS * look.error < BLURRED and not crisp:
        if look.worst < ONE_WAY * look.best:
            return "it is blurred by motion"
        return "it is out of focus"
    if look.sure is False or look.uncertain_px > MOST_UNCERTAIN_PX:
        return "too little of the scene can be recognised in it"
    return None
