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
from stacker.bridge.flow.guard import trusted
from stacker.bridge.flow.motion import PairFlow, pair_flow
from stacker.bridge.flow.passage import KNOTS, moments
from stacker.bridge.flow.steady import Flow, steady_flow
from stacker.bridge.flow.tones import CELLS, Noise, Tone, noise_of, tone_of, without_shading
from stacker.bridge.flow.weave import Shares, patches_of
from stacker.light.encoding import LightArray
from stacker.register.scene.grey import LUMINANCE, working_factor

# pairs of neighbours that are looked at for what holds for all of the burst
SURVEYED_PAIRS = 16
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
    noise: Noise
    spread: float

    def between(self, number: int, earlier: LightArray, later: LightArray) -> list[Patch]:
        """Return what is to be added to the frame ``number`` for the gap after it.

        Parameters
        ----------
        number : of the earlier frame among those used, from 0 on.
        earlier, later : float32 (H, W, 3), linear; not changed.
        """
        if not self.gaps[number].bridged:
            return []
        tones = (
            tone_of(earlier, self.factor, self.weights),
            tone_of(later, self.factor, self.weights),
        )
        flow = pair_flow(*tones, self.steady * np.float32(self.periods[number]), self.spread)
        height, width = tones[0].shape
        coarser = working_factor((width, height), KNOTS)
        knots = _on_knots(flow, coarser)
        times = (np.arange(JUDGED_MOMENTS) + 0.5) / JUDGED_MOMENTS
        trust = trusted(*tones, moments(knots, times), self.noise, self.factor)
        if not trust.any():
            return []
        count = _moments_needed(flow.forward, trust, self.factor)
        between = moments(knots, (np.arange(count) + 0.5) / count)
        pixels = (float(self.factor * coarser), float(self.factor))
        return patches_of(earlier, later, between, trust, self.shares[number], pixels)


def bridge_flow(
    frames: LightOf,
    exposed: Sequence[Exposed],
    *,
    weights: tuple[float, float, float] = LUMINANCE,
) -> FlowBridge:
    """Return the bridge of a burst for its textures in motion.

    Parameters
    ----------
    frames : gives the light of each frame, float32 (H, W, 3), linear, all brought to one place.
    exposed : when each was exposed; at least one.
    weights : the share of each channel in the luminance.

    Notes
    -----
    Looks at no more than ``2 * SURVEYED_PAIRS`` frames, each as a reduced copy.
    """
    periods = [b.start_s - a.start_s for a, b in itertools.pairwise(exposed)]
    # one of the periods, not the mean of two
    usual = sorted(periods)[len(periods) // 2] if periods else 1.0
    verdicts = [_verdict(a, b, usual) for a, b in itertools.pairwise(exposed)]
    factor, pairs = _surveyed(frames, periods, verdicts, usual, weights)
    if not pairs:
        unseen = GapVerdict(False, "too little can be seen to follow what moves")
        verdicts = [unseen if verdict.bridged else verdict for verdict in verdicts]
        nothing = np.zeros((1, 1, 2), np.float32)
        return FlowBridge(verdicts, [], [], factor, weights, nothing, Noise((0.0,), (1.0,)), 1.0)
    threads = cv2.getNumThreads()
    # frames are bridged by threads of their own, as in the pass
    cv2.setNumThreads(1)
    try:
        flow, trust = steady_flow(pairs)
        noise = noise_of(pairs)
    finally:
        cv2.setNumThreads(threads)
    spread = float(np.std(without_shading(pairs[0][0])))
    return FlowBridge(
        verdicts,
        _shares(exposed, verdicts),
        [period / usual for period in periods],
        factor,
        weights,
        flow * trust[..., None],
        noise,
        spread,
    )


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
) -> tuple[int, list[tuple[Tone, Tone]]]:
    """Return the factor of the copies, and tones of neighbours spread over the burst."""
    usable = [
        number
        for number, period in enumerate(periods)
        if verdicts[number].bridged and abs(period - usual) < 0.25 * usual
    ]
    chosen = [
        usable[place]
        for place in np.unique(
            np.linspace(0, len(usable) - 1, min(SURVEYED_PAIRS, len(usable))).round().astype(int)
        )
    ]
    tones: dict[int, Tone] = {}
    pairs: list[tuple[Tone, Tone]] = []
    factor = 1
    for number in chosen:
        for frame in (number, number + 1):
            if frame not in tones:
                light = frames(frame)
                factor = working_factor((light.shape[1], light.shape[0]), CELLS)
                if min(light.shape[:2]) // factor < LEAST_SIDE:
                    return factor, []
                tones[frame] = tone_of(light, factor, weights)
        pairs.append((tones[number], tones[number + 1]))
    return factor, pairs


def _shares(exposed: Sequence[Exposed], verdicts: Sequence[GapVerdict]) -> list[Shares]:
    """Return the shares of each gap.

    Frames of a run without a break become one shutter of the length from opening to closing. The
    light carried from the middle of one exposure to the middle of the next stands for the whole
    period, so that frames keep only the half exposures at the run's ends. Each frame counts for
    one in the mean, however: a gap takes from its two frames what makes that come out right.
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
            shares.append(Shares(gap, gap - later, later))
        if last < len(verdicts):
            shares.append(Shares(0.0, 0.0, 0.0))
        first = last + 1
    return shares


def _on_knots(flow: PairFlow, coarser: int) -> PairFlow:
    """Return the flow of knots that are so many cells wide."""
    if coarser == 1:
        return flow
    height, width = flow.sure_forward.shape
    h, w = height // coarser, width // coarser

    def reduced(values: Flow | Tone) -> Flow | Tone:
        cells = values[: h * coarser, : w * coarser]
        return np.asarray(cv2.resize(cells, (w, h), interpolation=cv2.INTER_AREA), np.float32)

    return PairFlow(
        reduced(flow.forward) / np.float32(coarser),
        reduced(flow.backward) / np.float32(coarser),
        reduced(flow.sure_forward),
        reduced(flow.sure_backward),
    )


def _moments_needed(flow: Flow, trust: Tone, factor: int) -> int:
    """Return how many moments make the longest ways whole."""
    length = np.hypot(flow[..., 0], flow[..., 1])[trust > 0] * factor
    wanted = int(np.ceil(np.percentile(length, 98) / MOMENT_PX))
    return min(max(wanted, LEAST_MOMENTS), MOST_MOMENTS)
