"""Whether a frame holds the subject well enough, and if not, why, in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stacker.register.scene.verdict import BLACK_SHARE, BLURRED, ERRORS, ONE_WAY

# a place less certain than this, in pixels of the copy, is not known
MOST_UNCERTAIN_PX = 0.6


@dataclass(frozen=True)
class Look:
    """What is known of a frame before the verdict.

    ``mean_light`` of the frame; ``expected`` (x, y), where the subject should be, in shares of
    the picture, 0 to 1 within it; ``found`` whether it was; ``worst``, ``best``, ``error`` see
    ``Sharpness``; ``uncertain_px`` how well its place is known.
    """

    mean_light: float
    expected: tuple[float, float]
    found: bool
    worst: float = 1.0
    best: float = 1.0
    error: float = 0.0
    uncertain_px: float = 0.0


def verdicts(looks: Sequence[Look]) -> list[str | None]:
    """Return for each frame why it is left out, or None where it is used."""
    light = float(np.median([look.mean_light for look in looks]))
    sharp = [look for look in looks if look.found]
    worst, best = (
        max(float(np.percentile([getattr(look, side) for look in sharp], 75)), 1e-3)
        if sharp
        else 1.0
        for side in ("worst", "best")
    )
    return [_verdict(look, light, worst, best) for look in looks]


def _verdict(look: Look, usual_light: float, usual_worst: float, usual_best: float) -> str | None:
    if not look.found:
        if look.mean_light < BLACK_SHARE * usual_light:
            return "it is black"
        if min(look.expected) < 0 or max(look.expected) > 1:
            return "the subject has left the picture"
        return "the subject cannot be found in it: hidden, or changed too much"
    worst, best = look.worst / usual_worst, look.best / usual_best
    if worst + ERRORS * look.error / usual_worst < BLURRED:
        if worst < ONE_WAY * best:
            return "the subject is blurred by motion in it"
        return "the subject is out of focus in it"
    if look.uncertain_px > MOST_UNCERTAIN_PX:
        return "too little of the subject can be recognised in it"
    return None
