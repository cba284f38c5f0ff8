"""Noise of the mean of a burst against that of one frame and of one long exposure.

Per pixel and in electrons: a frame holds a signal s with shot noise sqrt(s) and read noise r. The
mean of N frames has sigma^2 = (s + r^2) / N; one exposure of N times the time reads once and has,
brought to the same scale, sigma^2 = (s + r^2 / N) / N. Source: Janesick, Photon Transfer (SPIE,
2007). Dark current, the same in both, is left out; so is what adds in fixed
places, which darks take away.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from stacker.plan.sensors import Sensor

# share of white that a metered mid-grey comes to: 10 / 78 of ISO 12232's saturation speed
MID_GREY = 10 / 78
# what counts as deep shadow
SHADOW_STOPS = 5


@dataclass(frozen=True)
class Noise:
    """The noise of a burst's mean.

    Parameters
    ----------
    read_noise_e : of one frame, electrons.
    grey_e, shadow_e : signal of one frame in mid-grey, and five stops below, electrons.
    gain : by how many times the noise is below that of one frame.
    excess_grey, excess_shadow : noise over that of one exposure of the whole time without a filter,
        if nothing burnt out in it; 1.0 is as good.
    lift_sigma : how far a lighten lifts even noise, in sigmas of one frame.
    """

    read_noise_e: float
    grey_e: float
    shadow_e: float
    gain: float
    excess_grey: float
    excess_shadow: float
    lift_sigma: float

    @property
    def median_gain(self) -> float:
        """By how many times the noise of the median is below that of one frame.

        The median of many normal values has sqrt(pi / 2) times the noise of their mean.
        """
        return max(1.0, self.gain / math.sqrt(math.pi / 2))


def grey_signal_e(sensor: Sensor, iso: float, stops: float = 0.0) -> float:
    """Return the electrons of a mid-grey in a frame so many stops brighter than metered."""
    return sensor.full_well_e(iso) * min(1.0, MID_GREY * float(2.0**stops))


def mean_noise_e(signal_e: float, read_noise_e: float, frames: int) -> float:
    """Return the noise of the mean of N frames, electrons on the scale of one frame."""
    return math.sqrt((signal_e + read_noise_e**2) / frames)


def long_noise_e(signal_e: float, read_noise_e: float, frames: int) -> float:
    """Return the noise of one exposure N times as long, on the scale of one frame."""
    return math.sqrt((signal_e + read_noise_e**2 / frames) / frames)


def maximum_lift_sigma(frames: int) -> float:
    """Return the mean of the greatest of N normal values, in sigmas.

    Source: Blom, Statistical Estimates and Transformed Beta-Variables (Wiley, 1958): the quantile
    at (N - 0.375) / (N + 0.25), within 0.02 of the truth.
    """
    from statistics import NormalDist

    if frames == 1:
        return 0.0
    return NormalDist().inv_cdf((frames - 0.375) / (frames + 0.25))


def burst_noise(grey_e: float, read_noise_e: float, frames: int) -> Noise:
    """Return the noise of a burst whose frames hold ``grey_e`` electrons in mid-grey."""
    shadow_e = grey_e / 2**SHADOW_STOPS
    grey, shadow = (
        mean_noise_e(signal, read_noise_e, frames) / long_noise_e(signal, read_noise_e, frames)
        for signal in (grey_e, shadow_e)
    )
    single = mean_noise_e(grey_e, read_noise_e, 1)
    return Noise(
        read_noise_e=read_noise_e,
        grey_e=grey_e,
        shadow_e=shadow_e,
        gain=single / mean_noise_e(grey_e, read_noise_e, frames),
        excess_grey=grey,
        excess_shadow=shadow,
        lift_sigma=maximum_lift_sigma(frames),
    )
