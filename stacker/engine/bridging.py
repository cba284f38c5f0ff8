"""The light of the gaps, brought into the picture after its frames have added up."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import dataclass, field
from typing import Any

import cv2

from stacker.blend import Blend
from stacker.blend.lighten import Lighten
from stacker.bridge import Bridge, Exposed, Joins, Patch, choose_bridges
from stacker.bridge.sky import SkyBridge
from stacker.bridge.streaks import StreakBridge
from stacker.burst import Burst
from stacker.engine.frame_light import KEPT, FrameLight
from stacker.engine.holding import Holding
from stacker.engine.laid import TILE_PIXEL_BYTES, LaidLight
from stacker.engine.memory import frame_bytes, workers_within
from stacker.engine.passes import worker_count
from stacker.engine.planes import KnownSky
from stacker.engine.progress import Progress
from stacker.engine.settings import ADDING_BLENDS, KEEPING_BLENDS, Settings
from stacker.engine.traffic import told_of_traffic
from stacker.light.encoding import LightArray

LIGHT_PIXEL_BYTES = 12
# whole frames of light that a bridge itself may take while it works on a pair
WORKING_FRAMES = 2
# how patches join the picture, for each blend that gaps show in
JOINS: dict[str, Joins] = {
    **dict.fromkeys(KEEPING_BLENDS, "greater"),
    **dict.fromkeys(ADDING_BLENDS, "added"),
}
NO_CLOCK = (
    "the gaps are left as they are: the frames do not say how long they were open; "
    "give it with --frame-shutter"
)
NOTHING_MOVES = "no moving light was found there"

Put = Callable[[int, str, Bridge, Patch], None]


@dataclass(frozen=True, eq=False)
class Bridged:
    """What was bridged.

    Parameters
    ----------
    laid : the light of the gaps, by the name of the blend.
    unbridged : for each gap that was looked at, by the place of the frame before it, why it is
        not bridged; None where it is.
    found : what the report says of the whole.
    warnings : sentences for a person.
    peak_bytes : the memory that it was planned to take.
    """

    laid: Mapping[str, LaidLight] = field(default_factory=dict)
    unbridged: Mapping[int, str | None] = field(default_factory=dict)
    found: Mapping[str, Any] = field(default_factory=dict)
    warnings: Sequence[str] = ()
    peak_bytes: int = 0


def bridge_gaps(
    burst: Burst,
    used: Sequence[int],
    weights: Sequence[float],
    blends: Sequence[Blend],
    holding: Holding,
    settings: Settings,
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
    joining = {blend.name: JOINS[blend.name] for blend in blends if blend.name in JOINS}
    if not settings.bridge or not joining or len(used) < 2:
        return Bridged()
    exposed = _exposed(burst, used)
    if exposed is None:
        return Bridged(unbridged=dict.fromkeys(used[:-1], NO_CLOCK), warnings=[NO_CLOCK])
    workers, peak_bytes = _workers(burst, len(used) - 1, len(joining), settings)
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        counts = [weights[place] for place in used]
        bridging = _Bridging(burst, used, exposed, counts, holding, workers, progress)
        known = sky.bridge if sky is not None and sky.fits(used, holding) else None
        bridges = bridging.look(sorted(set(joining.values())), known)
        laid = {name: _empty(name, burst) for name in joining}
        factors = {
            blend.name: _factors(blend, used, weights) for blend in blends if blend.name in joining
        }
        # what was bridged, by the words for the bridge
        lit: dict[str, set[int]] = {words: set() for words, _ in bridges}

        def put(number: int, words: str, bridge: Bridge, patch: Patch) -> None:
            lit[words].add(number)
            for name, joins in joining.items():
                if joins == bridge.joins:
                    laid[name].lay(patch, factors[name][number])

        if bridges:
            bridging.lay(bridges, put)
    finally:
        cv2.setNumThreads(threads)
    unbridged = {
        used[number]: None
        if any(number in gaps for gaps in lit.values())
        else _why(number, [(words, each) for words, each in bridges if lit[words]] or bridges)
        for number in range(len(used) - 1)
    }
    found = {
        "bridge": {
            "by": {words: len(gaps) for words, gaps in lit.items()},
            "bridged": len(set().union(*lit.values())),
            "gaps": len(used) - 1,
        }
    }
    more, sentences = _of_traffic(bridges, burst, used, settings)
    told = [*_told(lit, unbridged), *sentences]
    return Bridged(laid, unbridged, {**found, **more}, told, peak_bytes)


def _of_traffic(
    bridges: Sequence[tuple[str, Bridge]], burst: Burst, used: Sequence[int], settings: Settings
) -> tuple[dict[str, Any], list[str]]:
    """Return what is told of lamps where they are the subject."""
    lamps = next((each for _, each in bridges if isinstance(each, StreakBridge)), None)
    if lamps is None or settings.subject is None or settings.subject.name != "traffic":
        return {}, []
    return told_of_traffic(lamps, burst, used)


def _exposed(burst: Burst, used: Sequence[int]) -> list[Exposed] | None:
    """Return when the frames were exposed; None where that is not known."""
    exposed = []
    for place in used:
        frame = burst.frames[place]
        if frame.shutter_s is None:
            return None
        exposed.append(Exposed(frame.start_s, frame.shutter_s))
    return exposed


def _empty(name: str, burst: Burst) -> LaidLight:
    whole_pixels = burst.encoding.space.luminance_weights if name == "max" else None
    return LaidLight(added=JOINS[name] == "added", luminance_weights=whole_pixels)


def _factors(blend: Blend, used: Sequence[int], weights: Sequence[float]) -> list[float]:
    """Return by how much the light of each gap counts."""
    if JOINS[blend.name] == "added":
        # bridges know what their frames count
        return [1.0] * (len(used) - 1)
    fading = blend.fading if isinstance(blend, Lighten) else None
    counts = [weights[place] * (fading[place] if fading else 1.0) for place in used]
    return [min(pair) for pair in itertools.pairwise(counts)]


def _why(number: int, bridges: Sequence[tuple[str, Bridge]]) -> str:
    """Return why a gap that got no light is not bridged."""
    reasons = dict.fromkeys(bridge.gaps[number].why for _, bridge in bridges)
    return "; ".join(filter(None, reasons)) or NOTHING_MOVES


def _told(lit: Mapping[str, set[int]], unbridged: Mapping[int, str | None]) -> list[str]:
    """Return the sentence for a person about gaps that stayed."""
    left = [why for why in unbridged.values() if why is not None]
    if not left:
        return []
    if len(left) == len(unbridged):
        return [f"no gap was bridged: {left[0]}"]
    by = " and ".join(words for words, gaps in lit.items() if gaps)
    return [
        f"{len(unbridged) - len(left)} of {len(unbridged)} gaps were bridged, by {by}; "
        f"of the first that was not: {left[0]}"
    ]


class _Bridging:
    """One run of the bridges over all gaps."""

    def __init__(
        self,
        burst: Burst,
        used: Sequence[int],
        exposed: Sequence[Exposed],
        counts: Sequence[float],
        holding: Holding,
        workers: int,
        progress: Progress,
    ) -> None:
        self.burst = burst
        self.used = used
        self.exposed = exposed
        self.counts = counts
        self.holding = holding
        self.progress = progress
        self.gaps = len(used) - 1
        self.workers = workers
        self._stopped = threading.Event()

    def look(self, ways: Sequence[Joins], sky: SkyBridge | None) -> list[tuple[str, Bridge]]:
        """Return the bridges that the burst needs, with the words for them."""
        frames = FrameLight(self.burst, self.used, self.holding)
        self.progress.start("looking for light that moves", len(self.used))
        seen: set[int] = set()

        def shown(number: int) -> LightArray:
            if number not in seen:
                seen.add(number)
                self.progress.advance()
            return frames(number)

        weights = self.burst.encoding.space.luminance_weights
        return [
            (words, bridge)
            for joins in ways
            for words, bridge in choose_bridges(
                joins, shown, self.exposed, weights, self.counts, sky
            ).items()
        ]

    def lay(self, bridges: Sequence[tuple[str, Bridge]], put: Put) -> None:
        """Call ``put`` with the number of each gap and each patch for it."""
        self.progress.start("bridging", self.gaps)
        workers = self.workers
        # neighbouring gaps share a frame: each thread takes a run of them
        edges = [self.gaps * part // workers for part in range(workers + 1)]
        with ThreadPoolExecutor(workers, thread_name_prefix="bridge") as pool:
            futures = [
                pool.submit(self._run, range(first, last), bridges, put)
                for first, last in itertools.pairwise(edges)
            ]
            try:
                wait(futures, return_when=FIRST_EXCEPTION)
            finally:
                self._stopped.set()
        for future in futures:
            future.result()

    def _run(self, gaps: range, bridges: Sequence[tuple[str, Bridge]], put: Put) -> None:
        frames = FrameLight(self.burst, self.used, self.holding)
        for number in gaps:
            if self._stopped.is_set():
                return
            able = [each for each in bridges if each[1].gaps[number].bridged]
            if able:
                earlier, later = frames(number), frames(number + 1)
                for words, bridge in able:
                    for patch in bridge.between(number, earlier, later):
                        put(number, words, bridge, patch)
                del earlier, later
            self.progress.advance()


def _workers(burst: Burst, gaps: int, pictures: int, settings: Settings) -> tuple[int, int]:
    """Return how many threads work on gaps, and the memory that takes with the pictures held."""
    pixels = burst.size[0] * burst.size[1]
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    return workers_within(
        settings.memory,
        min(worker_count(settings.workers), gaps),
        frame + (KEPT + WORKING_FRAMES) * pixels * LIGHT_PIXEL_BYTES,
        held=pictures * pixels * (LIGHT_PIXEL_BYTES + TILE_PIXEL_BYTES),
    )
