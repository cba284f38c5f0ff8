"""The light of the gaps, brought into the picture after its frames have added up."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace

import cv2

from stacker.blend import Blend
from stacker.blend.lighten import Lighten
from stacker.bridge import Bridge, Exposed, Joins, Patch, choose_bridges
from stacker.bridge.streaks import StreakBridge
from stacker.burst import Burst
from stacker.engine.frame_light import FrameLight
from stacker.engine.frames_ahead import FramesAhead
from stacker.engine.gaps import (
    NO_CLOCK,
    NOTHING_MOVES,
    TRIED,
    BridgedBlend,
    Gap,
    left_alone,
    told_of_gaps,
)
from stacker.engine.holding import Holding, resampled_intake
from stacker.engine.laid import LaidLight
from stacker.engine.memory import BridgePlan, frame_bytes, plan_bridge, waiting_bytes
from stacker.engine.passes import worker_count
from stacker.engine.planes import KnownSky
from stacker.engine.progress import Progress
from stacker.engine.settings import ADDING_BLENDS, KEEPING_BLENDS, Settings
from stacker.errors import OptionError
from stacker.light.encoding import LightArray

# how patches join the picture, for each blend that gaps show in
JOINS: dict[str, Joins] = {
    **dict.fromkeys(KEEPING_BLENDS, "greater"),
    **dict.fromkeys(ADDING_BLENDS, "added"),
}

# called with the number of a gap, the bridge and its words, and a patch
Put = Callable[[int, str, Bridge, Patch], None]


@dataclass(frozen=True, eq=False)
class Bridged:
    """What was bridged in each picture, by the name of its blend, the memory planned for it, and
    what was found of moving lamps."""

    blends: Mapping[str, BridgedBlend] = field(default_factory=dict)
    peak_bytes: int = 0
    lamps: StreakBridge | None = None

    def of(self, blend: str) -> BridgedBlend:
        """Return what was bridged in the picture of a blend."""
        return self.blends.get(blend, BridgedBlend())


def if_affordable(
    burst: Burst,
    weights: Sequence[float],
    blends: Sequence[Blend],
    settings: Settings,
    held: int = 0,
) -> tuple[Settings, tuple[str, ...]]:
    """Return the settings, without the bridge where the subject chose it and memory is too small.

    To be asked before any pass.

    Parameters
    ----------
    weights : one per frame of the burst.
    held : bytes that are taken by what all frames share.

    Returns
    -------
    The settings, and sentences for a person.

    Raises
    ------
    OptionError
        The bridge was asked for and does not fit into the memory.
    """
    if not settings.bridge or not _joining(blends):
        return settings, ()
    try:
        bridge_plan(burst, weights, blends, settings, held)
    except OptionError as error:
        if not settings.is_chosen("bridge"):
            raise
        told = f"the gaps are left as they are for want of memory: {error.why}"
        return replace(settings, bridge=False), (told,)
    return settings, ()


def bridge_plan(
    burst: Burst,
    weights: Sequence[float],
    blends: Sequence[Blend],
    settings: Settings,
    held: int,
) -> BridgePlan:
    """Return how gaps are bridged within the memory, whatever part of the burst makes the picture.

    Parameters and errors are those of ``if_affordable``.
    """
    # however frames turn out to be held
    intake = resampled_intake(burst, tuple(weights), masked=True)
    width, height = burst.size
    joining = _joining(blends)
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    return plan_bridge(
        width * height,
        list(joining.values()),
        workers=min(worker_count(settings.workers), max(1, intake.count - 1)),
        memory=settings.memory,
        frame=frame,
        held=held + waiting_bytes(blends, intake, height, width),
    )


def _joining(blends: Sequence[Blend]) -> dict[str, Joins]:
    return {blend.name: JOINS[blend.name] for blend in blends if blend.name in JOINS}


def bridge_gaps(
    burst: Burst,
    used: Sequence[int],
    weights: Sequence[float],
    blends: Sequence[Blend],
    holding: Holding,
    plan: BridgePlan,
    progress: Progress,
    *,
    sky: KnownSky | None = None,
) -> Bridged:
    """Return the light that fell between the frames, for each blend that gaps show in.

    Parameters
    ----------
    used : places of the frames that made the picture.
    weights : one per frame of the burst.
    sky : the stars, where they were looked for before.
    """
    joining = _joining(blends)
    if not joining or len(used) < 2:
        return Bridged()
    found = Found.look(burst, used, weights, joining, holding, plan, progress, sky=sky)
    if found is None:
        return Bridged({name: left_alone(used, NO_CLOCK) for name in joining})
    laid = {name: empty_laid(name, burst) for name in joining}
    factors = {b.name: factors_of(b, used, weights) for b in blends if b.name in joining}

    def put(number: int, _words: str, bridge: Bridge, patch: Patch) -> None:
        for name, joins in joining.items():
            if joins == bridge.joins:
                laid[name].lay(patch, factors[name][number])

    found.lay(put, plan.workers, progress)
    told = {name: found.told(laid[name], joins) for name, joins in joining.items()}
    lamps = next((each for _, each in found.bridges if isinstance(each, StreakBridge)), None)
    return Bridged(told, plan.peak_bytes, lamps)


def exposed_of(burst: Burst, used: Sequence[int]) -> list[Exposed] | None:
    """Return when the frames were exposed; None where that is not known."""
    exposed = []
    for place in used:
        frame = burst.frames[place]
        if frame.shutter_s is None:
            return None
        exposed.append(Exposed(frame.start_s, frame.shutter_s))
    return exposed


def empty_laid(name: str, burst: Burst) -> LaidLight:
    """Return what takes the light of gaps for a blend."""
    whole_pixels = burst.encoding.space.luminance_weights if name == "max" else None
    return LaidLight(added=JOINS[name] == "added", luminance_weights=whole_pixels)


def factors_of(blend: Blend, used: Sequence[int], weights: Sequence[float]) -> list[float]:
    """Return by how much the light of each gap counts."""
    if JOINS[blend.name] == "added":
        # bridges know what their frames count
        return [1.0] * (len(used) - 1)
    fading = blend.fading if isinstance(blend, Lighten) else None
    counts = [weights[place] * (fading[place] if fading else 1.0) for place in used]
    return [min(pair) for pair in itertools.pairwise(counts)]


class Found:
    """The bridges of a burst, and what they have laid so far."""

    def __init__(
        self,
        burst: Burst,
        used: Sequence[int],
        holding: Holding,
        bridges: Sequence[tuple[str, Bridge]],
    ) -> None:
        self.burst, self.used, self.holding = burst, used, holding
        self.bridges = bridges
        self.count = len(used) - 1
        # how much light there was for a gap, by the words for the bridge; threads have gaps of
        # their own
        self.light: list[dict[str, float]] = [{} for _ in range(self.count)]
        self._stopped = threading.Event()

    @classmethod
    def look(
        cls,
        burst: Burst,
        used: Sequence[int],
        weights: Sequence[float],
        joining: Mapping[str, Joins],
        holding: Holding,
        plan: BridgePlan,
        progress: Progress,
        failed: list[int] | None = None,
        sky: KnownSky | None = None,
    ) -> Found | None:
        """Return the bridges that the burst needs; None where its clock is not known.

        Places of frames that cannot be read are added to ``failed`` before that is raised.
        """
        exposed = exposed_of(burst, used)
        if exposed is None:
            return None
        progress.start("looking for light that moves", len(used))
        counts = [weights[place] for place in used]
        luminance_weights = burst.encoding.space.luminance_weights
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        ahead = plan.looking // 2
        known = sky.bridge if sky is not None and sky.fits(used, holding) else None
        try:
            with FramesAhead(burst, used, holding, ahead, progress, failed) as frames:
                bridges = [
                    (words, bridge)
                    for joins in sorted(set(joining.values()))
                    for words, bridge in choose_bridges(
                        joins,
                        frames,
                        exposed,
                        luminance_weights,
                        counts,
                        plan.looking - ahead,
                        known,
                    ).items()
                ]
        finally:
            cv2.setNumThreads(threads)
        return cls(burst, used, holding, bridges)

    def lay(self, put: Put, workers: int, progress: Progress) -> None:
        """Call ``put`` with each patch for each gap, from so many threads."""
        if not self.bridges:
            return
        progress.start("bridging", self.count)
        workers = min(workers, self.count)
        # neighbouring gaps share a frame: each thread takes a run of them
        edges = [self.count * part // workers for part in range(workers + 1)]
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            with ThreadPoolExecutor(workers, thread_name_prefix="bridge") as pool:
                futures = [
                    pool.submit(self._run, range(first, last), put, progress)
                    for first, last in itertools.pairwise(edges)
                ]
                try:
                    wait(futures, return_when=FIRST_EXCEPTION)
                finally:
                    self._stopped.set()
            for future in futures:
                future.result()
        finally:
            cv2.setNumThreads(threads)

    def _run(self, gaps: range, put: Put, progress: Progress) -> None:
        frames = FrameLight(self.burst, self.used, self.holding)
        for number in gaps:
            if self._stopped.is_set():
                return
            if self.able(number):
                self.lay_gap(number, frames(number), frames(number + 1), put)
            progress.advance()

    def able(self, number: int) -> bool:
        """Whether some bridge may have light for a gap."""
        return any(bridge.gaps[number].bridged for _, bridge in self.bridges)

    def lay_gap(self, number: int, earlier: LightArray, later: LightArray, put: Put) -> None:
        """Call ``put`` with the patches for one gap between two frames."""
        whole = max(_light_in(earlier), 1e-9)
        for words, bridge in self.bridges:
            if not bridge.gaps[number].bridged:
                continue
            for patch in bridge.between(number, earlier, later):
                if not patch.light.any():
                    continue
                put(number, words, bridge, patch)
                light = _light_in(patch.light) / whole
                # what is added in one place was taken in another
                light /= 2 if bridge.joins == "added" else 1
                self.light[number][words] = self.light[number].get(words, 0.0) + light

    def told(self, laid: LaidLight, joins: Joins) -> BridgedBlend:
        """Return what became of the gaps of a picture."""
        own = [(words, bridge) for words, bridge in self.bridges if bridge.joins == joins]
        gaps = {self.used[number]: self._gap(number, own) for number in range(self.count)}
        tried = {words: bridge.gaps[0].why for words, bridge in own}
        return told_of_gaps(laid, gaps, tried, TRIED[joins])

    def _gap(self, number: int, bridges: Sequence[tuple[str, Bridge]]) -> Gap:
        there = self.light[number]
        lit = {words: there[words] for words, _ in bridges if words in there}
        if lit:
            return Gap(tuple(lit), sum(lit.values()))
        # a bridge that the burst does not need has nothing to say about its gaps
        useful = [each for each in bridges if any(each[0] in light for light in self.light)]
        reasons = dict.fromkeys(bridge.gaps[number].why for _, bridge in useful or bridges)
        return Gap(why="; ".join(filter(None, reasons)) or NOTHING_MOVES)


def _light_in(light: LightArray) -> float:
    """Return the sum of the magnitudes of light."""
    return float(cv2.norm(light.reshape(len(light), -1), cv2.NORM_L1))
