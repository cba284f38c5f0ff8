"""Whether a frame belongs in the picture, and if not, why, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

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
# Where the light has changed by more than this factor, as in a dusk, lamps and daylight make other
# detail of the same place: a frame is compared with so many about it instead of all.
LIGHT_CHANGED = 2**0.5
ALIKE = 6
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
    worst, best = (_usual_sharpness(looks, side) for side in ("worst", "best"))
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
            look,
            worst=look.worst / worst[number],
            best=look.best / best[number],
            error=look.error / worst[number],
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
    usual = _usual_sharpness(looks, "worst")
    shares = [
        (look.worst + ERRORS * look.error) / worst for look, worst in zip(looks, usual, strict=True)
    ]
    return [1.0 if share >= SHARP else max(share / SHARP, BLURRED) ** 2 for share in shares]


def _usual_sharpness(looks: Sequence[Look], side: Literal["worst", "best"]) -> list[float]:
    """Return for each frame what the sharper half of those of its light has in the middle."""
    light = np.array([look.mean_light for look in looks])
    value = np.array([getattr(look, side) for look in looks])
    seen = np.array([not look.lost for look in looks])
    usual = np.full(len(looks), _upper(value[seen].tolist()))
    sharp_light = light[seen & (value >= usual)]
    for number in range(len(looks) if len(sharp_light) else 0):
        near = np.arange(max(0, number - ALIKE), min(len(looks), number + ALIKE + 1))
        change = max(float(np.median(light[near])), 1e-6) / max(float(np.median(sharp_light)), 1e-6)
        near = near[seen[near]]
        if max(change, 1 / change) > LIGHT_CHANGED and len(near):
            usual[number] = max(_trend(near - number, value[near]), 1e-3)
    return [float(each) for each in usual]


def _trend(places: npt.NDArray[np.intp], values: npt.NDArray[np.float64]) -> float:
    """Return the height at 0 of a line through values, which a fourth of them do not spoil.

    Source: P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", Journal
    of the American Statistical Association 63 (1968), doi:10.1080/01621459.1968.10480934.
    """
    one, other = np.triu_indices(len(places), 1)
    slopes = (values[other] - values[one]) / (places[other] - places[one])
    slope = float(np.median(slopes)) if len(slopes) else 0.0
    return float(np.median(values - slope * places))


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
