"""What passes before the sky of a burst, found frame by frame and then judged over all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Exposed, LightOf
from stacker.bridge.planes.dots import find_dots
from stacker.bridge.planes.excess import Excess, copy_factor, copy_of
from stacker.bridge.planes.lines import Line, find_lines
from stacker.bridge.planes.streak import PassingStreak
from stacker.bridge.planes.verdict import judged
from stacker.bridge.sky import SkyBridge

FloatArray = npt.NDArray[np.float32]
Float64Array = npt.NDArray[np.float64]

# the light to a streak's side is followed so far, px of the copy, down to so many of its standard
# deviations
WIDEST_PX, FADED = 24, 1.5
# what light there is beyond that, px
MARGIN_PX = 1.5
# the brightest tenth of a streak tells its width: strobes are wider than steady lamps
BRIGHT_PERCENT = 90
# a streak so much of which lies beside a longer one is a part of its glow
MOST_COVERED = 0.5
# a star that a cloud gave free leaves a streak along the turn of the sky: within this sine of its
# direction, and not much longer than its trail in one frame
ALONG_SKY, LONGER = 0.12, 2.5


@dataclass(frozen=True, eq=False)
class Passing:
    """What passed: the streaks of each frame, and in how many frames that could be told."""

    streaks: tuple[tuple[PassingStreak, ...], ...]
    looked_at: int

    def planes(self, number: int) -> list[PassingStreak]:
        """Return the streaks of a frame that are to be taken out."""
        return [each for each in self.streaks[number] if each.kind == "plane"]

    def meteors(self, number: int) -> list[PassingStreak]:
        """Return the streaks of a frame that shone up and went out within it."""
        return [each for each in self.streaks[number] if each.kind == "meteor"]


def find_passing(
    frames: LightOf,
    exposed: Sequence[Exposed],
    sky: SkyBridge,
    weights: tuple[float, float, float],
    on_frame: Callable[[], None] | None = None,
) -> Passing:
    """Return what passes before the sky of a burst.

    Parameters
    ----------
    frames : gives the light of each frame; called once for each, in order.
    exposed : when each was exposed.
    sky : what is known of the stars; where it knows no sky, nothing is found.
    weights : the share of each channel in the luminance.
    on_frame : called after each frame.

    Notes
    -----
    Holds the light of one frame and copies of three, of at most 3 megapixels.
    """
    count = len(exposed)
    if sky.sky is None or count < 2:
        return Passing(((),) * count, 0)
    height, width = sky.sky.still.codes.shape
    excess = Excess(sky, copy_factor((width, height)))
    found: list[list[PassingStreak]] = []
    looked_at = 0
    copies = {0: copy_of(frames(0), excess.factor, weights)}
    for number in range(count):
        if number + 1 < count:
            copies[number + 1] = copy_of(frames(number + 1), excess.factor, weights)
        beside = [(other, copies[other]) for other in (number - 1, number + 1) if other in copies]
        above = excess.above(number, copies[number], beside)
        looked_at += above is not None
        found.append([] if above is None else _streaks(above, number, exposed, sky, excess.factor))
        copies.pop(number - 1, None)
        if on_frame:
            on_frame()
    streaks = judged(found, exposed, excess.region, excess.factor)
    return Passing(tuple(map(tuple, streaks)), looked_at)


def _streaks(
    above: FloatArray, number: int, exposed: Sequence[Exposed], sky: SkyBridge, factor: int
) -> list[PassingStreak]:
    """Return the streaks of one frame."""
    lines = find_lines(above)
    left = above.copy()
    kept = []
    for line in lines:
        half = _half_width(above, line)
        _put_out(left, line, half)
        kept.append((line, half))
    kept += [(line, _half_width(left, line)) for line in find_dots(left)]
    streaks = [
        PassingStreak((line.places + 0.5) * factor - 0.5, (half + MARGIN_PX) * factor)
        for line, half in kept
    ]
    single: list[PassingStreak] = []
    for each in sorted(streaks, key=lambda streak: -streak.length_px):
        if not _is_star(each, number, exposed, sky) and not _covered(each, single):
            single.append(each)
    return single


def _covered(streak: PassingStreak, longer: Sequence[PassingStreak]) -> bool:
    """Return whether most of a streak lies in the light of a longer one: it is a part of that."""
    for other in longer:
        away = np.linalg.norm(streak.line[:, None] - other.line[None], axis=2).min(axis=1)
        if np.mean(away < streak.half_width_px + other.half_width_px) > MOST_COVERED:
            return True
    return False


def _is_star(
    streak: PassingStreak, number: int, exposed: Sequence[Exposed], sky: SkyBridge
) -> bool:
    """Return whether a streak may be a star's trail that the neighbours do not show."""
    other = number + 1 if number + 1 < len(exposed) else number - 1
    middle = streak.line[[len(streak.line) // 2]]
    there = sky.carried(middle, number, other)
    if there is None:
        return True
    share = exposed[number].shutter_s / abs(exposed[other].start_s - exposed[number].start_s)
    way = (there - middle)[0] * share
    chord = streak.line[-1] - streak.line[0]
    far, length = float(np.hypot(*way)), float(np.hypot(*chord))
    side = abs(float(chord[0] * way[1] - chord[1] * way[0]))
    return side <= ALONG_SKY * far * length and length < LONGER * far


def _across(line: Line) -> Float64Array:
    """Return unit vectors across a line, (n, 2)."""
    along = np.gradient(line.places, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-9)[:, None]
    return np.stack([-along[:, 1], along[:, 0]], 1)


def _half_width(above: FloatArray, line: Line) -> float:
    """Return how far to a line's side there is light, px of the copy."""
    across = _across(line)
    height, width = above.shape
    for off in range(1, WIDEST_PX + 1):
        seen = []
        for side in (-off, off):
            place = np.rint(line.places + side * across).astype(np.intp)
            place = np.clip(place, 0, [width - 1, height - 1])
            seen.append(above[place[:, 1], place[:, 0]])
        light = np.concatenate(seen)
        bright = light[light >= np.percentile(light, BRIGHT_PERCENT)]
        # noise alone has its own brightest tenth, 1.75 standard deviations on the mean
        if float(bright.mean()) < FADED + 1.75:
            return float(off)
    return float(WIDEST_PX)


def _put_out(above: FloatArray, line: Line, half: float) -> None:
    """Put 0 about a line, so that its strobes are no dots of their own."""
    across = _across(line)
    height, width = above.shape
    for off in np.arange(-half - 2, half + 2.5, 0.5):
        place = np.rint(line.places + off * across).astype(np.intp)
        place = np.clip(place, 0, [width - 1, height - 1])
        above[place[:, 1], place[:, 0]] = 0
