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


@dataclass(frozen=True)
class Balance:
    """When sky and lamps balance.

    Parameters
    ----------
    moment_s : on the frames' clock; None where that lies beyond the frames, or cannot be told.
    why : why it is None, as a clause.
    first, last : the frames, counted from 0, within a quarter of a stop of it.
    stops_per_min : how fast the sky fades on the whole, above 0.
    residual_stops : root mean square of what the fit of the sky leaves.
    """

    moment_s: float | None = None
    why: str | None = None
    first: int = 0
    last: int = 0
    stops_per_min: float = 0.0
    residual_stops: float = 0.0


def find_balance(frames: LightStack, starts_s: npt.NDArray[np.float64]) -> Balance:
    """Return the moment of balance.

    Parameters
    ----------
    frames : float32 (N, h, w), the luminance of frames that lie still, three or more.
    starts_s : float64 (N,), when each opened, rising.
    """
    count = max(1, round(LOOK * len(frames)))
    early, late = np.median(frames[:count], axis=0), np.median(frames[-count:], axis=0)
    floor = np.float32(LEAST_LIGHT)
    stops = np.log2(np.maximum(early, floor) / np.maximum(late, floor))
    # dark places tell nothing of how light fades
    fade = float(np.quantile(stops[early > floor], 0.9)) if (early > floor).any() else 0.0
    if fade < LEAST_FADE:
        return Balance(why="the light fades by less than half a stop")
    fading = (stops > SKY_LIT * fade) & (early > floor)
    sky = fading & (early >= np.median(early[fading]))
    share = 2.0**-fade
    lamps = np.asarray((late - share * early) / (1 - share))
    lit = (lamps > LAMP_LIT * late) & (late > floor) & (late < BURNT_OUT)
    if min(sky.mean(), lit.mean()) < LEAST_PLACES:
        return Balance(why="no lamps are seen" if sky.any() else "no sky is seen")
    level = np.log2(np.maximum(frames[:, sky].mean(axis=1), 2.0**-20)).astype(np.float64)
    return _crossing(level, starts_s, float(np.log2(np.median(lamps[lit]))))


def _crossing(
    level: npt.NDArray[np.float64], starts_s: npt.NDArray[np.float64], lamps: float
) -> Balance:
    """Return when the fitted light of the sky, in stops, falls to that of the lamps."""
    middle, half = starts_s.mean(), max(np.ptp(starts_s) / 2, 1e-9)
    degree = 2 if len(level) >= FRAMES_TO_BEND else 1
    fit = np.polynomial.Polynomial.fit((starts_s - middle) / half, level, degree)
    fitted = fit((starts_s - middle) / half)
    slope = (fitted[0] - fitted[-1]) / (2 * half) * 60
    residual = float(np.sqrt(np.mean(np.square(level - fitted))))
    if fitted[0] < lamps:
        return Balance(None, "the sky is darker than the lamps from the first frame on")
    if fitted[-1] > lamps:
        return Balance(None, "the sky is brighter than the lamps to the last frame")
    fine = np.linspace(-1, 1, 10_001)
    moment = float(middle + half * fine[int(np.argmax(fit(fine) <= lamps))])
    near = np.flatnonzero(np.abs(fitted - lamps) <= NEAR)
    if near.size == 0:
        near = np.array([int(np.argmin(np.abs(starts_s - moment)))])
    return Balance(moment, None, int(near[0]), int(near[-1]), float(slope), residual)
