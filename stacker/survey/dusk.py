"""The moment of a dusk at which sky and lamps balance.

The sky fades, lamps do not. Each place of the picture has light of both: two looks, one early and
one late, tell how much of each. They balance where the sky is as bright as the middle one of
the places that lamps light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

LightStack = npt.NDArray[np.float32]

# share of the frames that make the early and the late look
LOOK = 0.2
# a dusk fades by so many stops at least while it is looked at
LEAST_FADE = 0.5
# of places that fade, those within so much of the most fading tenth are lit by the sky alone
SKY_LIT = 0.75
# lamps light a place where they give so much of its late light, and that is no noise, nor burnt out
LAMP_LIT, LEAST_LIGHT, BURNT_OUT = 0.75, 0.005, 0.95
# share of the picture that lamps and sky must each have
LEAST_PLACES = 0.001
# a fade that bends is followed in so many frames
FRAMES_TO_BEND = 6
# the sky is at balance within so many stops
NEAR = 0.25


# moments between the first frame and the last at which the fitted light of the sky is known
MOMENTS = 10_001


@dataclass(frozen=True, eq=False)
class Fade:
    """How the light of the sky goes.

    Parameters
    ----------
    moments_s : float64 (K,), on the frames' clock, from the first frame to the last, evenly.
    stops : float64 (K,), the fitted light of the sky then.
    residual_stops : root mean square of what the fit leaves.
    """

    moments_s: npt.NDArray[np.float64]
    stops: npt.NDArray[np.float64]
    residual_stops: float

    @property
    def stops_per_min(self) -> float:
        """How fast the sky fades on the whole, above 0."""
        lasting = max(float(np.ptp(self.moments_s)), 1e-9)
        return float(self.stops[0] - self.stops[-1]) / lasting * 60

    def near(self, moment_s: float) -> tuple[float, float]:
        """Return from when to when the sky is within a quarter of a stop of its light then."""
        at = int(np.argmin(np.abs(self.moments_s - moment_s)))
        # a hair more than a quarter: light that just reaches it is not lost by rounding
        apart = np.abs(self.stops - self.stops[at]) > NEAR + 1e-9
        before, after = np.flatnonzero(apart[:at]), np.flatnonzero(apart[at:])
        first = int(before[-1]) + 1 if before.size else 0
        last = at + int(after[0]) - 1 if after.size else len(apart) - 1
        return float(self.moments_s[first]), float(self.moments_s[last])


@dataclass(frozen=True, eq=False)
class Balance:
    """When sky and lamps balance.

    Parameters
    ----------
    moment_s : on the frames' clock; None where that lies beyond the frames, or cannot be told.
    why : why it is None, as a clause.
    fade : how the sky fades; None where that cannot be told.
    """

    moment_s: float | None = None
    why: str | None = None
    fade: Fade | None = None


def find_balance(frames: LightStack, starts_s: npt.NDArray[np.float64]) -> Balance:
    """Return the moment of balance.

    Parameters
    ----------
    frames : float32 (N, h, w), the luminance of frames that lie still, three or more.
    starts_s : float64 (N,), when each opened, rising.
    """
    looks = _Looks.of(frames)
    if looks is None:
        return Balance(why="the light fades by less than half a stop")
    lamps, lit = looks.lamps()
    if min(looks.sky.mean(), lit.mean()) < LEAST_PLACES:
        return Balance(why="no lamps are seen" if looks.sky.any() else "no sky is seen")
    fade = _fitted(frames, looks.sky, starts_s)
    return _crossing(fade, float(np.log2(np.median(lamps[lit]))))


def find_fade(frames: LightStack, starts_s: npt.NDArray[np.float64]) -> Fade | None:
    """Return how the sky fades; None where it hardly does, or none is seen.

    Parameters are those of ``find_balance``.
    """
    looks = _Looks.of(frames)
    if looks is None or looks.sky.mean() < LEAST_PLACES:
        return None
    return _fitted(frames, looks.sky, starts_s)


@dataclass(frozen=True, eq=False)
class _Looks:
    """An early and a late look, by how many stops the light faded between them, and the sky."""

    early: npt.NDArray[np.float32]
    late: npt.NDArray[np.float32]
    fade: float
    sky: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, frames: LightStack) -> _Looks | None:
        """Return the looks; None where the light hardly fades."""
        count = max(1, round(LOOK * len(frames)))
        early, late = np.median(frames[:count], axis=0), np.median(frames[-count:], axis=0)
        floor = np.float32(LEAST_LIGHT)
        stops = np.log2(np.maximum(early, floor) / np.maximum(late, floor))
        # dark places tell nothing of how light fades
        fade = float(np.quantile(stops[early > floor], 0.9)) if (early > floor).any() else 0.0
        if fade < LEAST_FADE:
            return None
        fading = (stops > SKY_LIT * fade) & (early > floor)
        return cls(early, late, fade, fading & (early >= np.median(early[fading])))

    def lamps(self) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.bool_]]:
        """Return the light of lamps everywhere, and where they rule."""
        share = 2.0**-self.fade
        lamps = np.asarray((self.late - share * self.early) / (1 - share))
        lit = (lamps > LAMP_LIT * self.late) & (self.late > LEAST_LIGHT) & (self.late < BURNT_OUT)
        return lamps, lit


def _fitted(
    frames: LightStack, sky: npt.NDArray[np.bool_], starts_s: npt.NDArray[np.float64]
) -> Fade:
    """Return a line or a parabola through the stops of the sky."""
    level = np.log2(np.maximum(frames[:, sky].mean(axis=1), 2.0**-20)).astype(np.float64)
    middle, half = (starts_s[0] + starts_s[-1]) / 2, max(np.ptp(starts_s) / 2, 1e-9)
    degree = 2 if len(level) >= FRAMES_TO_BEND else 1
    fit = np.polynomial.Polynomial.fit((starts_s - middle) / half, level, degree)
    fine = np.linspace(-1, 1, MOMENTS)
    left = level - fit((starts_s - middle) / half)
    return Fade(middle + half * fine, fit(fine), float(np.sqrt(np.mean(np.square(left)))))


def _crossing(fade: Fade, lamps: float) -> Balance:
    """Return when the light of the sky, in stops, falls to that of the lamps."""
    if fade.stops[0] < lamps:
        return Balance(None, "the sky is darker than the lamps from the first frame on", fade)
    if fade.stops[-1] > lamps:
        return Balance(None, "the sky is brighter than the lamps to the last frame", fade)
    return Balance(float(fade.moments_s[int(np.argmax(fade.stops <= lamps))]), None, fade)
