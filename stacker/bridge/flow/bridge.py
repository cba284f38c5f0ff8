"""The bridge for textures in motion under a mean: water, crowds, a carousel, traffic.

The mean of short frames with gaps shows what moves in steps. Between two frames both are carried
along the flow to many moments, and what they show there takes the place of part of both, so that
the mean becomes that of one shutter, open from the first frame's opening to the last's closing.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import ClassVar

import cv2
import numpy as np

from stacker.bridge.base import Exposed, GapVerdict, Joins, LightOf, Patch
from stacker.bridge.flow.guard import LEAST_TRUST, trusted
from stacker.bridge.flow.held_out import moving, proven
from stacker.bridge.flow.motion import pair_flow
from stacker.bridge.flow.passage import moments, on_knots
from stacker.bridge.flow.steady import Flow, steady_flow
from stacker.bridge.flow.tones import CELLS, Noise, Tone, noise_of, tone_of, without_shading
from stacker.bridge.flow.weave import Shares, patches_of
from stacker.light.encoding import LightArray
from stacker.register.scene.grey import LUMINANCE, working_factor

# frames in a row, and how many such rows, that are looked at for what holds for all of the burst.
# Less than three in a row cannot show whether their motion can be followed
RUN, SURVEYED_RUNS = 3, 8
# what lies so far beside the places of trust may move into them, besides what flows steadily
MARGIN_CELLS = 24
# a pause of more than so many usual periods is a break: what moved is elsewhere
LONGEST_PERIODS = 2.5
# pictures with a shorter side show too little of anything, in cells
LEAST_SIDE = 16
# a gap of less than this share of the period is none
LEAST_GAP = 0.02
# moments are so far apart along the longest ways, in pixels, within these bounds
MOMENT_PX = 1.5
LEAST_MOMENTS, MOST_MOMENTS = 4, 16
# every so many moments are enough to judge the flow
JUDGED_MOMENTS = 4


@dataclass(frozen=True, eq=False)
class FlowBridge:
    """What is known of a burst's moving textures; made by ``bridge_flow``."""

    joins: ClassVar[Joins] = "added"
    gaps: Sequence[GapVerdict]
    shares: Sequence[Shares]
    periods: Sequence[float] = field(repr=False)
    factor: int
    weights: tuple[float, float, float]
    steady: Flow = field(repr=False)
    trust: Tone = field(repr=False)
    window: tuple[slice, slice]
    noise: Noise
    spread: float

    def between(self, number: int, earlier: LightArray, later: LightArray) -> list[Patch]:
        """Return what is to be added to the sum of the frames for the gap after one.

        Parameters
        ----------
        number : of the earlier frame among those used, from 0 on.
        earlier, later : float32 (H, W, 3), linear; not changed.
        """
        if not self.gaps[number].bridged:
            return []
        rows, columns = self.window
        factor = self.factor
        pixels = (
            slice(rows.start * factor, rows.stop * factor),
            slice(columns.start * factor, columns.stop * factor),
        )
        one = tone_of(earlier[pixels], factor, self.weights)
        other = tone_of(later[pixels], factor, self.weights)
        steady = self.steady[rows, columns] * np.float32(self.periods[number])
        flow = pair_flow(one, other, steady, self.spread)
        knots = on_knots(flow)
        times = (np.arange(JUDGED_MOMENTS) + 0.5) / JUDGED_MOMENTS
        trust = trusted(one, other, moments(knots, times), self.noise, factor)
        trust *= self.trust[rows, columns]
        trust[trust < LEAST_TRUST] = 0
        if not trust.any():
            return []
        count = _moments_needed(flow.forward, trust, factor)
        between = moments(knots, (np.arange(count) + 0.5) / count)
        apart = one.shape[1] // knots.sure_forward.shape[1]
        return patches_of(
            earlier, later, between, trust, self.shares[number],
            (float(factor * apart), float(factor)), (pixels[1].start, pixels[0].start),
        )  # fmt: skip


def bridge_flow(
    frames: LightOf,
    exposed: Sequence[Exposed],
    *,
    weights: tuple[float, float, float] = LUMINANCE,
    counts: Sequence[float] | None = None,
) -> FlowBridge:
    """Return the bridge of a burst for its textures in motion.

    Parameters
    ----------
    frames : gives the light of each frame, float32 (H, W, 3), linear, all brought to one place.
    exposed : when each was exposed; at least one.
    weights : the share of each channel in the luminance.
    counts : what each frame counts in the sum; one each if not given.

    Notes
    -----
    Looks at no more than ``RUN * SURVEYED_RUNS`` frames, each as a reduced copy.
    """
    periods = [b.start_s - a.start_s for a, b in itertools.pairwise(exposed)]
    # one of the periods, not the mean of two
    usual = sorted(periods)[len(periods) // 2] if periods else 1.0
    verdicts = [_verdict(a, b, usual) for a, b in itertools.pairwise(exposed)]
    factor, runs = _surveyed(frames, periods, verdicts, usual, weights)
    pairs = [pair for run in runs for pair in itertools.pairwise(run)]
    if not pairs:
        return _nothing(verdicts, "too little can be seen to follow what moves", factor, weights)
    threads = cv2.getNumThreads()
    # frames are bridged by threads of their own, as in the pass
    cv2.setNumThreads(1)
    try:
        flow, sure = steady_flow(pairs)
        flow *= sure[..., None]
        noise = noise_of(pairs)
        spread = float(np.std(without_shading(pairs[0][0])))
        trust = moving([tone for run in runs for tone in run], noise)
        if trust.any():
            triples = [(run[0], run[1], run[2]) for run in runs]
            shut = 1 - sorted(frame.shutter_s for frame in exposed)[len(exposed) // 2] / usual
            trust *= proven(triples, flow, sure, noise, spread, shut)
    finally:
        cv2.setNumThreads(threads)
    if not trust.any():
        return _nothing(verdicts, "nothing moves there that can be followed", factor, weights)
    return FlowBridge(
        verdicts,
        _shares(exposed, verdicts, counts or [1.0] * len(exposed)),
        [period / usual for period in periods],
        factor,
        weights,
        flow,
        trust,
        _window(trust, flow),
        noise,
        spread,
    )


def _nothing(
    verdicts: Sequence[GapVerdict], why: str, factor: int, weights: tuple[float, float, float]
) -> FlowBridge:
    """Return a bridge of no gap."""
    left = [GapVerdict(False, why) if verdict.bridged else verdict for verdict in verdicts]
    empty = np.zeros((1, 1), np.float32)
    nowhere = slice(0, 0), slice(0, 0)
    noise = Noise((0.0,), (1.0,))
    still = np.zeros((1, 1, 2), np.float32)
    return FlowBridge(left, [], [], factor, weights, still, empty, nowhere, noise, 1.0)


def _window(trust: Tone, flow: Flow) -> tuple[slice, slice]:
    """Return rows and columns of cells that have to be looked at where there is trust."""
    longest = np.hypot(flow[..., 0], flow[..., 1])[trust > 0].max()
    margin = MARGIN_CELLS + int(np.ceil(longest))
    sides = []
    for axis in (1, 0):
        some = np.flatnonzero((trust > 0).any(axis=axis))
        first, last = int(some[0]) - margin, int(some[-1]) + 1 + margin
        sides.append(slice(max(0, first), min(trust.shape[1 - axis], last)))
    return sides[0], sides[1]


def _verdict(earlier: Exposed, later: Exposed, usual: float) -> GapVerdict:
    period = later.start_s - earlier.start_s
    if period > LONGEST_PERIODS * usual:
        return GapVerdict(False, "the pause is too long to follow what moved")
    if later.start_s - earlier.end_s <= LEAST_GAP * period:
        return GapVerdict(False, "the frames follow each other without a gap")
    return GapVerdict(True)


def _surveyed(
    frames: LightOf,
    periods: Sequence[float],
    verdicts: Sequence[GapVerdict],
    usual: float,
    weights: tuple[float, float, float],
) -> tuple[int, list[list[Tone]]]:
    """Return the factor of the copies, and tones of frames in a row, spread over the burst.

    Rows are of ``RUN`` frames, none where no three follow each other at the usual pace.
    """
    usable = [
        verdict.bridged and abs(period - usual) < 0.25 * usual
        for verdict, period in zip(verdicts, periods, strict=True)
    ]
    gaps = RUN - 1
    starts = [n for n in range(len(usable) - gaps + 1) if all(usable[n : n + gaps])]
    if not starts:
        return 1, []
    count = min(SURVEYED_RUNS, len(starts))
    chosen = np.unique(np.linspace(0, len(starts) - 1, count).round().astype(int))
    tones: dict[int, Tone] = {}
    factor = 1
    for start in (starts[place] for place in chosen):
        for frame in range(start, start + RUN):
            if frame not in tones:
                light = frames(frame)
                factor = working_factor((light.shape[1], light.shape[0]), CELLS)
                if min(light.shape[:2]) // factor < LEAST_SIDE:
                    return factor, []
                tones[frame] = tone_of(light, factor, weights)
    return factor, [
        [tones[frame] for frame in range(starts[place], starts[place] + RUN)] for place in chosen
    ]


def _shares(
    exposed: Sequence[Exposed], verdicts: Sequence[GapVerdict], counts: Sequence[float]
) -> list[Shares]:
    """Return the shares of each gap.

    Frames of a run without a break become one shutter of the length from opening to closing. The
    light carried from the middle of one exposure to the middle of the next stands for the whole
    period, so that frames keep only the half exposures at the run's ends. Each frame counts for
    one in the mean, however: a gap takes from its two frames what makes that come out right. Where
    frames count for more or less, it takes as much more or less of each, and gives what it took.
    """
    shares: list[Shares] = []
    first = 0
    for last in range(len(exposed)):
        if last < len(verdicts) and verdicts[last].bridged:
            continue
        run = exposed[first : last + 1]
        count = len(run)
        whole = run[-1].end_s - run[0].start_s
        for number, (one, other) in enumerate(itertools.pairwise(run)):
            gap = count * (other.start_s - one.start_s) / whole
            reached = other.start_s - run[0].start_s + 0.5 * other.shutter_s
            # uneven bursts may ask for more or less than there is
            later = min(max(count * reached / whole - (number + 1), 0.0), gap)
            taken = (gap - later) * counts[first + number], later * counts[first + number + 1]
            shares.append(Shares(sum(taken), *taken))
        if last < len(verdicts):
            shares.append(Shares(0.0, 0.0, 0.0))
        first = last + 1
    return shares


def _moments_needed(flow: Flow, trust: Tone, factor: int) -> int:
    """Return how many moments make the longest ways whole."""
    length = np.hypot(flow[..., 0], flow[..., 1])[trust > 0] * factor
    wanted = int(np.ceil(np.percentile(length, 98) / MOMENT_PX))
    return min(max(wanted, LEAST_MOMENTS), MOST_MOMENTS)
