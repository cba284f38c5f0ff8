"""Shells whose sparks are known one by one, and the light that they gave while no shutter was
open: the greatest of all exposures that begin between both frames, as the sum of their sparks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.base import Exposed, Patch
from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.bursts import Seen, laws_of, ridges_of, sparks_of
from stacker.bridge.streaks.embers import (
    FloatArray,
    Sparks,
    shown,
    window_of,
    with_glow,
)
from stacker.bridge.streaks.embers_fit import (
    LIGHT_SHARE,
    NOISE_TIMES,
    OUTLIER,
    Pixels,
    begun,
    fitted,
    stiffness,
)
from stacker.bridge.streaks.flight import Flight, Float64Array
from stacker.bridge.streaks.match import Link
from stacker.bridge.streaks.shells import LEAST_SPARKS, LEAST_STREAKS, Tips, tips_of
from stacker.bridge.streaks.streak import Streak
from stacker.light.encoding import LightArray

# pictures are made smaller until streaks are this wide and no more pixels are left, px
USUAL_WIDTH, MOST_PIXELS = 4.5, 3e6
# a gap shorter than this, in shutters, or one between shutters that differ by more is not for this
LEAST_GAP, MOST_UNLIKE = 0.05, 0.1
# light above this is clipped
CLIPPED = 0.97
# turns of a first fit for each law and of the last, how well one has to do that no other is tried,
# and the mean square of what is left, in uncertainties, with which a shell is believed
TRIED_TURNS, LAST_TURNS, GOOD, MOST_LEFT = 5, 8, 1.0, 1.6
# a channel tells by light up to this
TELLING = 0.3
# the laws of power of the channels bend less easily until after the gap than then
CHANNEL_STIFF, CHANNEL_LOOSE, CHANNEL_TURNS = 15.0, 2.0, 3
# exposures that begin within the gap and the shutter before it
EXPOSURES = 12
# light is laid where it is above that of both frames by so many times the unrest
ABOVE = 3.0
# streaks whose end lies so near to that of a known spark, px and in widths, are that spark
SAME_PX, SAME_WIDTHS = 2.5, 1.0
CONFIDENCE = 0.9


@dataclass(frozen=True, eq=False)
class LitShell:
    """The sparks of a shell and (3, K) the laws of power of the channels, full size."""

    sparks: Sparks
    laws: Float64Array
    scale: float


@dataclass(frozen=True, eq=False)
class _Frames:
    """Excess of both frames (H, W, 3), what is clipped, and noise of a channel."""

    excess: tuple[FloatArray, FloatArray]
    clipped: tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]
    noise: float

    def channel(self, number: int) -> Pixels:
        """Return one channel."""
        one, two = (np.ascontiguousarray(excess[..., number]) for excess in self.excess)
        return Pixels((one, two), (self.clipped[0][..., number], self.clipped[1][..., number]),
                      self.noise)  # fmt: skip


def lit_shells(
    streaks: tuple[Sequence[Streak], Sequence[Streak]],
    lights: tuple[LightArray, LightArray],
    background: Background,
    exposed: tuple[Exposed, Exposed],
    like: Sequence[LitShell] = (),
) -> list[LitShell]:
    """Return the shells of a gap whose sparks are known well enough.

    Parameters
    ----------
    streaks, lights : of the earlier and the later frame.
    like : shells of other gaps, whose drag and fall are tried first.
    """
    first, second = exposed
    gap = (second.start_s - first.end_s) / first.shutter_s
    unlike = abs(second.shutter_s / first.shutter_s - 1)
    if min(map(len, streaks)) < LEAST_STREAKS or gap < LEAST_GAP or unlike > MOST_UNLIKE:
        return []
    height, width = lights[0].shape[:2]
    usual = float(np.median([streak.width for some in streaks for streak in some]))
    scale = max(1, round(usual / USUAL_WIDTH), int(np.ceil(np.sqrt(height * width / MOST_PIXELS))))
    frames = _frames(lights, background, scale)
    ridges = [ridges_of(excess.mean(axis=2), frames.noise / np.sqrt(3))
              for excess in frames.excess]  # fmt: skip
    tips = [_smaller(tips_of(some), scale) for some in streaks]
    shells = []
    others = [shell.sparks.flight for shell in like]
    known = [(flight.drag, flight.fall / scale) for flight in others]
    for laws, seen in laws_of((tips[0], tips[1]), (ridges[0], ridges[1]), gap, known):
        sparks = _fitted(laws, seen, frames)
        if sparks is not None:
            shells.append(LitShell(sparks.magnified(scale), _channels(sparks, frames)
                                   + 2 * np.log(scale), float(scale)))  # fmt: skip
    return shells


def without_known(
    links: Sequence[Link], shells: Sequence[LitShell],
    streaks: tuple[Sequence[Streak], Sequence[Streak]],
) -> list[Link]:  # fmt: skip
    """Return the links without those of sparks that shells know of."""
    for shell in shells:
        sparks = shell.sparks
        ages = np.array([sparks.flight.age, sparks.flight.later])
        known = sparks.flight.places(sparks.speeds, ages)
        kept = []
        for link in links:
            ends = (streaks[0][link.earlier].ends[link.earlier_end],
                    streaks[1][link.later].ends[link.later_end])  # fmt: skip
            far = [np.hypot(*(known[:, side] - end.place).T).min() - SAME_WIDTHS * end.width
                   for side, end in enumerate(ends)]  # fmt: skip
            if min(far) > SAME_PX:
                kept.append(link)
        links = kept
    return list(links)


def patch_of(
    shell: LitShell, earlier: LightArray, later: LightArray, background: Background
) -> Patch:
    """Return the light of a shell in its gap, over that of others in the frames about it."""
    sparks = shell.sparks
    height, width = background.unrest.shape
    low, shape, window = window_of(sparks, (width, height), int(40 * shell.scale))
    greatest, first, last = (np.empty((*shape, 3), np.float32) for _ in range(3))
    for channel, law in enumerate(shell.laws):
        greatest[..., channel], first[..., channel], last[..., channel] = _exposures(
            replace(sparks, law=law), low, shape, shell.scale
        )
    others = np.maximum(background.excess(earlier, window) - first,
                        background.excess(later, window) - last)  # fmt: skip
    still = background.light[window].astype(np.float32)
    above = greatest - np.maximum(first, last)
    unrest = background.unrest[window].astype(np.float32)
    lit = np.asarray(above.max(axis=2) > ABOVE * unrest, bool)
    light = np.minimum(still + greatest + np.maximum(others, 0), 1) * lit[..., None]
    confidence = np.asarray(CONFIDENCE * lit, np.float32)
    return Patch(int(low[1]), int(low[0]), np.asarray(light, np.float32), confidence)


def _exposures(
    sparks: Sparks, low: npt.NDArray[np.intp], shape: tuple[int, int], scale: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the greatest light of exposures from that of the earlier frame to that of the later
    one, (h, w), and the light of both."""
    starts = np.linspace(sparks.flight.age - 1, sparks.flight.later, EXPOSURES + 1)
    edges = np.unique(np.round(np.concatenate([starts, starts + 1]), 9))
    spans = list(pairwise(edges.tolist()))
    parts = [shown(sparks, a, b, low, shape) for a, b in spans]
    greatest = first = last = np.zeros(shape, np.float32)
    for number, start in enumerate(starts.tolist()):
        inside = [part for part, (a, b) in zip(parts, spans, strict=True)
                  if a > start - 1e-6 and b < start + 1 + 1e-6]  # fmt: skip
        last = with_glow(sparks, np.sum(inside, axis=0, dtype=np.float32), scale)
        first = last if number == 0 else first
        greatest = np.maximum(greatest, last)
    return greatest, first, last


def _frames(lights: tuple[LightArray, LightArray], background: Background, scale: int) -> _Frames:
    """Return what is fitted, on a picture so many times smaller."""
    excess, clipped = [], []
    height, width = (side // scale * scale for side in lights[0].shape[:2])
    whole = (slice(0, height), slice(0, width))
    size = (width // scale, height // scale)
    for light in lights:
        over = background.excess(light, whole)
        bright = (light[whole] > CLIPPED).astype(np.float32)
        if scale > 1:
            over = np.asarray(cv2.resize(over, size, interpolation=cv2.INTER_AREA), np.float32)
            bright = np.asarray(cv2.resize(bright, size, interpolation=cv2.INTER_AREA), np.float32)
        excess.append(over)
        clipped.append(bright > 0)
    # unrest is that of the mean of three channels
    noise = float(np.median(background.unrest)) * np.sqrt(3) / scale
    return _Frames((excess[0], excess[1]), (clipped[0], clipped[1]), noise)


def _smaller(tips: Tips, scale: int) -> Tips:
    """Return tips on a picture so many times smaller."""
    return replace(tips, place=(tips.place + 0.5) / scale - 0.5, length=tips.length / scale)


def _fitted(laws: Sequence[Flight], seen: Seen, frames: _Frames) -> Sparks | None:
    """Return the sparks of the law that leaves the least, or None where too much is left."""
    best: tuple[float, Sparks, Pixels] | None = None
    for flight in laws:
        speeds = sparks_of(flight, seen)
        if len(speeds) < LEAST_SPARKS:
            continue
        pixels = frames.channel(_telling(flight, speeds, frames))
        sparks, left = fitted(begun(flight, speeds, pixels), pixels, TRIED_TURNS, 1.0)
        if best is None or left < best[0]:
            best = (left, sparks, pixels)
        if left < GOOD:
            break
    if best is None:
        return None
    sparks, left = fitted(best[1], best[2], LAST_TURNS, 0.2)
    return sparks if left < MOST_LEFT and len(sparks.speeds) >= LEAST_SPARKS else None


def _telling(flight: Flight, speeds: Float64Array, frames: _Frames) -> int:
    """Return the channel that tells the most of sparks in both frames without being clipped."""
    height, width = frames.excess[0].shape[:2]
    told = np.ones(3)
    ages = (np.linspace(flight.opened, flight.age, 30), flight.later + np.linspace(0, 1, 30))
    for side, at in enumerate(ages):
        cell = np.rint(flight.places(speeds, at)).astype(int).reshape(-1, 2)
        x, y = np.unique(cell[((cell >= 0) & (cell < [width, height])).all(axis=1)], axis=0).T
        light = np.clip(frames.excess[side][y, x], 0, TELLING) * ~frames.clipped[side][y, x]
        told *= light.sum(axis=0)
    return int(told.argmax())


def _channels(sparks: Sparks, frames: _Frames) -> Float64Array:
    """Return the law of power of each channel, (3, K)."""
    return np.stack([_law_of(sparks, frames.channel(channel)) for channel in range(3)])


def _law_of(sparks: Sparks, pixels: Pixels) -> Float64Array:
    """Return the law of power that a channel tells of, (K,)."""
    height, width = pixels.excess[0].shape
    low, shape, window = window_of(sparks, (width, height), 24)
    stiff = stiffness(sparks, CHANNEL_STIFF, CHANNEL_LOOSE)
    bend = stiff.T @ stiff
    law = sparks.law.copy()
    for _ in range(CHANNEL_TURNS):
        matrix, side = bend + 1e-3 * np.eye(len(law)), -bend @ law
        for later in (False, True):
            columns = _of_knots(replace(sparks, law=law), later, low, shape)
            light = columns.sum(axis=2)
            excess = pixels.excess[later][window]
            usual = float(np.percentile(light[light > 0], 80)) if (light > 0).any() else 1.0
            near = (light > 0.02 * usual) & ~pixels.bad[later][window]
            smooth = cv2.GaussianBlur(np.maximum(excess, light), (0, 0), 1.2)[near]
            weight = 1 / (NOISE_TIMES * pixels.noise + LIGHT_SHARE * smooth)
            left = (excess - light)[near] * weight
            outlier = 1 / np.sqrt(1 + (left / OUTLIER) ** 2)
            own = (columns[near] * (weight * outlier)[:, None]).astype(float)
            matrix += own.T @ own
            side += own.T @ (left * outlier)
        law = law + np.clip(np.linalg.solve(matrix, side), -1.5, 1.5)
    return law


def _of_knots(
    sparks: Sparks, later: bool, low: npt.NDArray[np.intp], shape: tuple[int, int]
) -> FloatArray:
    """Return what each knot of the law of power has in the light of a frame, (h, w, K)."""
    first, last = sparks.open_in(later)
    used = sparks.hats(sparks.stations(first, last)[0]).max(axis=0) > 0
    out = np.zeros((*shape, len(used)), np.float32)
    for knot in np.flatnonzero(used).tolist():

        def power(ages: Float64Array, knot: int = knot) -> Float64Array:
            hats = sparks.hats(ages)
            return np.asarray(hats[:, knot] * np.exp(hats @ sparks.law), float)

        out[..., knot] = with_glow(sparks, shown(sparks, first, last, low, shape, power))
    return out
