"""What is told of the noise of a mean of stars: by how much it fell below that of one frame."""

from __future__ import annotations

from collections.abc import Sequence
from math import sqrt
from typing import Any

from stacker.engine.settings import Settings


def told_of_noise(
    counting: Sequence[float], settings: Settings
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Return what the report says of the noise of a mean of stars, and a sentence for a person.

    Parameters
    ----------
    counting : how much each frame of the burst counted; 0 for those left out.

    Notes
    -----
    Independent noise of frames with weights w falls to sqrt(sum w^2) / sum w of one frame's.
    """
    total = sum(counting)
    if settings.subject is None or settings.subject.name != "stars" or total <= 0:
        return {}, ()
    if "mean" not in settings.blends:
        return {}, ()
    gain = total / sqrt(sum(weight * weight for weight in counting))
    frames = sum(weight > 0 for weight in counting)
    words = f"the mean of {frames} frames has {1 / gain:.0%} of one frame's noise"
    return {"noise_gain": round(gain, 3)}, ((words,) if frames > 1 else ())
