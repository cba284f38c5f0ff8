"""How bright each frame is against the others, in stops, and what changed: drift, flicker, jumps.

What keeps still is compared, so that a car or a firework is not taken for a change of the light.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import Encoding, LightArray
from stacker.light.evening import LogLight, cells_factor, log_cells, still_reference
from stacker.light.flicker import judge_evenness, slow_part

FloatArray = npt.NDArray[np.float64]

# frames that the others are compared with, spread evenly over the burst
MOST_REFERENCE_FRAMES = 64
# stops by which a frame must differ from those about it to be odd
ODD_EV = 0.6
# stops of a lasting step, and frames on either side that must bear it out
JUMP_EV, BEARING_OUT = 0.2, 2
# light, as a share of the burst's, below which a frame is black
BLACK_SHARE = 0.15
# frames to either side that say what is usual
ABOUT = 3


@dataclass(frozen=True, eq=False)
class Brightness:
    """The light of the frames.

    Parameters
    ----------
    stops : float64 (N,), against the median frame, log2 of light; NaN where there is none.
    black, flashed : indices of frames that are dark, or lit all over, against their neighbours.
    jumps : (index, stops): from this frame on it is that much brighter.
    drift_stops : the slow change from the first frame to the last.
    flicker : root mean square of what is neither slow nor odd, as a share of the light.
    seen : whether the flicker is more than can be told of this burst, and large enough to see.
    """

    stops: FloatArray
    black: tuple[int, ...]
    flashed: tuple[int, ...]
    jumps: tuple[tuple[int, float], ...]
    drift_stops: float
    flicker: float
    seen: bool


def measure_brightness(
    source: Callable[[int], LightArray], times_s: Sequence[float], encoding: Encoding
) -> Brightness:
    """Return how bright the frames are.

    Parameters
    ----------
    source : returns the light of frame ``index``, float32 (h, w, 3), linear and the same in every
        channel; asked twice for each.
    times_s : when each frame opened, rising.
    encoding : that of the light which ``source`` returns.
    """
    count = len(times_s)
    first = source(0)
    factor = cells_factor((first.shape[1], first.shape[0]))

    def cells_of(light: LightArray) -> LogLight:
        # one channel stands for all
        return log_cells(np.ascontiguousarray(light[..., :1]), encoding, factor)

    step = max(1, math.ceil(count / MOST_REFERENCE_FRAMES))
    chosen = list(range(0, count, step))
    reference = still_reference(
        [cells_of(source(index)) for index in chosen],
        [times_s[index] for index in chosen],
        encoding,
    )
    changes, halves, means = [], [], np.empty(count)
    for index, time_s in enumerate(times_s):
        light = source(index)
        cells = cells_of(light)
        changes.append(np.repeat(reference.gains_of(cells, time_s), 3))
        halves.append(np.repeat(reference.halves_of(cells, time_s), 3, axis=1))
        means[index] = float(light.mean())
    return _judged(np.stack(changes), np.stack(halves), means, np.asarray(times_s, np.float64))


def _judged(
    changes: FloatArray, halves: FloatArray, means: FloatArray, times_s: FloatArray
) -> Brightness:
    stops = changes[:, 1] / math.log(2)
    # a frame with too few cells to compare is judged by all of its light
    usual = max(float(np.median(means)), 1e-9)
    stops = np.where(np.isfinite(stops), stops, np.log2(np.maximum(means, 1e-6) / usual))
    stops = stops - np.median(stops)
    black, flashed = _odd(stops, means, usual)
    sound = np.array([i for i in range(len(stops)) if i not in {*black, *flashed}], np.intp)
    if len(sound) < 2:
        return Brightness(stops, black, flashed, (), 0.0, 0.0, seen=False)
    jumps = _jumps(stops, sound)
    level = stops.copy()
    for index, step in jumps:
        level[index:] -= step
    course = slow_part(level[sound], times_s[sound])
    evened = changes[sound] - (stops - level)[sound, None] * math.log(2)
    evenness = judge_evenness(evened, halves[sound], times_s[sound], keep_slow=True)
    return Brightness(
        stops,
        black,
        flashed,
        jumps,
        drift_stops=float(course[-1] - course[0]),
        flicker=evenness.unevenness,
        seen=evenness.needed,
    )


def _odd(
    stops: FloatArray, means: FloatArray, usual: float
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the frames that are black, and those that are lit unlike their neighbours."""
    black, flashed = [], []
    for index, value in enumerate(stops):
        near = np.arange(max(0, index - ABOUT), min(len(stops), index + ABOUT + 1))
        near = near[near != index]
        about = float(np.median(stops[near])) if len(near) else value
        brighter = value - about > ODD_EV
        # the first frame of a lasting step has only half of its neighbours on its side
        alone = not any(abs(stops[n] - value) < ODD_EV / 2 for n in near)
        if means[index] < BLACK_SHARE * usual and value - about < -2:
            black.append(index)
        elif brighter and alone and means[index] > means[near].max():
            flashed.append(index)
    return tuple(black), tuple(flashed)


def _jumps(stops: FloatArray, sound: npt.NDArray[np.intp]) -> tuple[tuple[int, float], ...]:
    """Return lasting steps of the light between neighbouring frames that are sound."""
    values = stops[sound]
    steps = np.diff(values)
    # what fades evenly from frame to frame, as dusk in long intervals, does not jump
    steps = steps - (np.median(steps) if len(steps) > 2 else 0.0)
    values = np.concatenate([[0.0], np.cumsum(steps)])
    usual = 1.4826 * float(np.median(np.abs(steps - np.median(steps)))) if len(steps) else 0.0
    found = []
    for place, step in enumerate(steps):
        before = values[max(0, place + 1 - BEARING_OUT) : place + 1]
        after = values[place + 1 : place + 1 + BEARING_OUT]
        lasting = float(np.median(after) - np.median(before))
        if min(abs(step), abs(lasting)) > max(JUMP_EV, 6 * usual) and len(after) > 1:
            found.append((int(sound[place + 1]), float(step)))
    return tuple(found)
