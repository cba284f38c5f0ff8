"""How far lights, walkers and backgrounds move across the picture, and which gaps show.

Something that crosses the view at v m/s, d metres away, moves f v / (d p) pixels per second with
the focal length f and the pixel pitch p: similar triangles of a lens focused far away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# of the width of a trail, the gap that deepens the notch between two frames by half a stop. A trail
# of normal profile and full width w at half height has w = 2.355 sigma. Each frame gives the middle
# of the gap Phi(-g / 2 sigma) of its light, half of it where g = 0, as lighten then has a notch of
# a stop anyway; half a stop deeper is where Phi(-g / 2 sigma) = 0.5 * 2^-0.5, g = 0.752 sigma. The
# trade's half of the width makes it 0.85 stops.
HIDDEN_GAP = 0.319
# a car's lamp
LAMP_WIDTH_M = 0.15
# what a lens and the mosaic of colours make of a point, pixels at half height
POINT_WIDTH_PX = 2.0


@dataclass(frozen=True)
class Streak:
    """What something that moves leaves in one frame.

    Parameters
    ----------
    speed_px_s : across the picture.
    length_px : in one frame.
    gap_px : left out between two frames.
    width_px : of the trail.
    longest_gap_s : the gap that adds no more than half a stop to the notch between frames.
    """

    speed_px_s: float
    length_px: float
    gap_px: float
    width_px: float
    longest_gap_s: float


def speed_px_s(
    speed_m_s: float,
    distance_m: float,
    focal_mm: float,
    pitch_um: float,
    angle_deg: float = 90.0,
) -> float:
    """Return the speed across the picture, near its middle, in pixels per second.

    Parameters
    ----------
    angle_deg : between the way and the line of sight: of the speed, its sine goes across.
    """
    across = speed_m_s * math.sin(math.radians(angle_deg))
    return across / distance_m * focal_mm * 1000 / pitch_um


def lamp_width_px(distance_m: float, focal_mm: float, pitch_um: float) -> float:
    """Return the width of a lamp's image, that of a point included."""
    return math.hypot(LAMP_WIDTH_M / distance_m * focal_mm * 1000 / pitch_um, POINT_WIDTH_PX)


def streak(speed: float, width_px: float, shutter_s: float, gap_s: float) -> Streak:
    """Return the streak of something that moves at ``speed`` pixels per second."""
    return Streak(
        speed_px_s=speed,
        length_px=speed * shutter_s,
        gap_px=speed * gap_s,
        width_px=width_px,
        longest_gap_s=HIDDEN_GAP * width_px / speed if speed else math.inf,
    )


def stays_in_median(share: float, frames: int) -> float:
    """Return how likely a spot that walkers hide for a share of the time is lost in the median.

    It is lost where half of the frames or more show a walker; frames are taken to be far enough
    apart to be independent (binomial distribution).
    """
    if share in (0.0, 1.0):
        return share
    half = math.ceil(frames / 2)
    ways = math.lgamma(frames + 1)
    # by logarithms: numbers of ways are beyond floating point from a thousand frames on
    logs = (
        ways - math.lgamma(k + 1) - math.lgamma(frames - k + 1)
        + k * math.log(share) + (frames - k) * math.log1p(-share)
        for k in range(half, frames + 1)
    )  # fmt: skip
    return min(1.0, math.fsum(math.exp(each) for each in logs))
