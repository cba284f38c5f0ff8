"""How smooth flowing texture becomes: water, clouds, fog.

When the flow has passed by K independent lengths of its texture, K independent values were
averaged, and 1 / sqrt(K) of the contrast remains. A frame that is open while the flow passes by
less than one length counts as one value; frames closer together than a length count for the way
between them. Below a tenth of its contrast, texture reads as silk.
"""

from __future__ import annotations

import math

SILK_CONTRAST = 0.1


def lengths_per_frame(
    flow_m_s: float, texture_m: float, shutter_s: float, interval_s: float
) -> float:
    """Return how many independent lengths of texture each further frame adds."""
    between = flow_m_s * interval_s / texture_m
    if between <= 1:
        return between
    return max(1.0, flow_m_s * shutter_s / texture_m)


def remaining_contrast(
    flow_m_s: float, texture_m: float, shutter_s: float, interval_s: float, frames: int
) -> float:
    """Return the contrast that texture keeps in the mean, as a share of that at rest."""
    lengths = frames * lengths_per_frame(flow_m_s, texture_m, shutter_s, interval_s)
    return 1 / math.sqrt(max(1.0, lengths))


def frames_for_contrast(
    contrast: float, flow_m_s: float, texture_m: float, shutter_s: float, interval_s: float
) -> int:
    """Return the fewest frames whose mean keeps no more than this contrast."""
    each = lengths_per_frame(flow_m_s, texture_m, shutter_s, interval_s)
    # the millionth keeps 100.0000001 from becoming 101
    return max(1, math.ceil(1 / contrast**2 / each - 1e-6))
