"""The one pass of a ladder: what it leaves are pieces of pictures on disk, and small copies."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping
from functools import partial
from typing import cast

import cv2
import numpy as np

from stacker.blend import Blend
from stacker.engine.bridging import bridge_gaps, bridge_plan
from stacker.engine.doubts import Doubts
from stacker.engine.expose import with_gaps
from stacker.engine.gaps import BridgedBlend
from stacker.engine.laid import BridgedPiece
from stacker.engine.memory import PassPlan, plan_passes
from stacker.engine.passes import FrameOutcome, FramePass, Stripe, make_stripes, worker_count
from stacker.engine.progress import Progress
from stacker.engine.ready import Ready
from stacker.engine.report import make_report, open_time
from stacker.engine.rungs import Copies, FrameSampler, Rungs, RungTaker, up_to
from stacker.engine.settings import Settings
from stacker.engine.shot import Piece, Shot
from stacker.engine.spool import Spool
from stacker.light.encoding import Encoding, Picture, as_light
from stacker.version import PROGRAM

# frames looked at to tell what moves, spread over the burst: more tell little that is new
SAMPLED_FRAMES = 16
# what is measured are copies of at most so many pixels: texture is judged as a viewer sees it
COPY_PIXELS = 1_600_000


class LadderPass:
    """A pass over the frames that hands out rungs.

    Parameters
    ----------
    ends : the place of the last frame of each rung, rising.
    """

    def __init__(
        self,
        ready: Ready,
        blend: Blend,
        ends: tuple[int, ...],
        settings: Settings,
        progress: Progress,
    ) -> None:
        self.ready, self.settings, self.progress = ready, settings, progress
        self.blend, self.ends = blend, ends
        self.places = [place for place in ready.places if place <= ends[-1]]
        burst, holding = ready.burst, ready.holding
        weights = tuple(w if p <= ends[-1] else 0.0 for p, w in enumerate(ready.weights))
        self.intake = holding.intake(burst, weights)
        count = min(SAMPLED_FRAMES, len(self.places))
        chosen = np.linspace(0, len(self.places) - 1, count).round().astype(int)
        self.sampled = [self.places[k] for k in chosen]
        self.factor = _copy_factor(burst.size)
        self.frame_copies = Copies(burst.size, self.factor, len(self.sampled))
        # the exposure of half of the frames tells how much texture that of all has left
        half = self.places[max(1, len(self.places) // 2) - 1]
        self.steps = tuple(sorted({*ends, half}))
        self.step_copies = Copies(burst.size, self.factor, len(self.steps))
        self.spool = Spool()
        # with the gaps bridged, the half is made whole too, so that like is held against like
        kept = self.steps if settings.bridge else ends
        self.pieces: dict[int, dict[int, Piece]] = {end: {} for end in kept}
        self.bridged: dict[int, BridgedBlend] = {}
        self.plan = self._planned()

    @property
    def _held_bytes(self) -> int:
        copies = self.frame_copies.pictures + self.step_copies.pictures
        return self.ready.prepared.held_bytes + sum(copy.nbytes for copy in copies)

    def _planned(self) -> PassPlan:
        return plan_passes(
            [Rungs(self.blend, self.steps)],
            self.intake,
            self.ready.holding.region.rows,
            self.ready.burst.size[0],
            workers=min(worker_count(self.settings.workers), len(self.places)),
            memory=self.settings.memory,
            frame=self.ready.frame_bytes,
            held=self._held_bytes,
            align=math.lcm(self.ready.holding.align, self.factor),
        )

    def run(self) -> dict[int, FrameOutcome]:
        """Return what came of each frame; stop at the first band that meets a bad one."""
        outcomes: dict[int, FrameOutcome] = {}
        threads = cv2.getNumThreads()
        cv2.setNumThreads(1)
        try:
            self.progress.start("blending", len(self.places) * len(self.plan.bands))
            for band in self.plan.bands:
                frame_pass = FramePass(
                    self.ready.burst,
                    self.places,
                    self._stripes(band),
                    brightest_frame=self.blend.brightest_frame(self.intake),
                    on_bad=self.settings.on_bad,
                    progress=self.progress,
                    warps=self.ready.holding.warps,
                    masked=self.ready.holding.masked,
                )
                outcomes |= frame_pass.run(self.plan.workers)
                if any(outcome.error is not None for outcome in outcomes.values()):
                    break
        finally:
            cv2.setNumThreads(threads)
        return outcomes

    def _stripes(self, band: range) -> list[Stripe]:
        align = math.lcm(self.ready.holding.align, self.factor)
        size = self.ready.burst.size
        stripes = make_stripes(
            [Rungs(self.blend, self.steps)], self.intake, band, size, self.plan.workers, align=align
        )
        for stripe in stripes:
            cast(RungTaker, stripe.accumulators[0]).take = partial(self._take, stripe.rows.start)
            stripe.accumulators.append(
                FrameSampler(
                    self.intake,
                    stripe.rows,
                    size[0],
                    copies=self.frame_copies,
                    sampled=self.sampled,
                )
            )
        return stripes

    def _take(self, top: int, step: int, picture: Picture) -> None:
        """Put away a piece of what the blend is at a step, the first row of which is ``top``."""
        end = self.steps[step]
        if end in self.pieces:
            self.pieces[end][top] = self.spool.put(picture)
        self._copy(step, top, picture)

    def _copy(self, step: int, top: int, picture: Picture) -> None:
        """Reduce a piece of what the blend is at a step to what is measured."""
        end = self.steps[step]
        # what adds up gets brighter with every frame: it is measured as bright as one
        scale = 1 / self.frames_until(end) if self.blend.name == "sum" else 1.0
        encoding = Encoding("float32", self.ready.burst.encoding.space)
        self.step_copies.put(step, as_light(picture), encoding, top, scale)

    def bridge(self) -> None:
        """Put the light of its gaps into each rung, as into the exposure of its frames alone.

        One rung after the other, so that the light of one is held at a time.
        """
        ready, blends = self.ready, [self.blend]
        plan = bridge_plan(
            ready.burst, self.intake.weights, blends, self.settings, self._held_bytes
        )
        for step, end in enumerate(self.steps):
            intake = up_to(self.intake, end)
            used = [place for place in self.places if place <= end]
            arguments = (intake.weights, blends, ready.holding, plan, self.progress)
            bridged = bridge_gaps(ready.burst, used, *arguments).of(self.blend.name)
            pieces = self.pieces[end]
            edges = [*sorted(pieces), ready.holding.region.rows.stop]
            rows = [range(*pair) for pair in itertools.pairwise(edges)]
            plain = [pieces[part.start] for part in rows]
            whole = with_gaps(plain, rows, self.blend, bridged.laid, intake, ready.holding)
            for part, piece in zip(rows, whole, strict=True):
                if isinstance(piece, BridgedPiece) and piece.is_changed:
                    picture = piece.result()
                    pieces[part.start] = self.spool.put(picture)
                    self._copy(step, part.start, picture)
            # what was laid is in the pictures now
            self.bridged[end] = dataclasses.replace(bridged, laid=None)

    def frames_until(self, end: int) -> int:
        """Return how many frames a rung takes, the place of whose last one is ``end``."""
        return self.places.index(end) + 1

    @property
    def cells(self) -> tuple[slice, slice]:
        """Rows and columns of the copies that lie in the picture's region."""
        region, factor = self.ready.holding.region, self.factor
        rows, columns = (
            slice(-(-part.start // factor), part.stop // factor)
            for part in (region.rows, region.columns)
        )
        return rows, columns

    def shot(self, end: int, outcomes: Mapping[int, FrameOutcome]) -> Shot:
        """Return the rung that ends with the frame at ``end`` as an exposure."""
        ready, burst, holding = self.ready, self.ready.burst, self.ready.holding
        intake = up_to(self.intake, end)
        used = [place for place in self.places if place <= end]
        span = range(ready.span.start, end + 1)
        known = {**ready.outcomes, **outcomes}
        return Shot(
            burst=burst,
            pieces=[piece for _, piece in sorted(self.pieces[end].items())],
            columns=holding.region.columns,
            size=holding.region.size,
            space=burst.encoding.space,
            brightest=self.blend.brightest(intake),
            open_s=open_time(burst, used, intake.weights),
            exif=burst.frames[used[0]].exif,
            sources=frozenset(burst.sources) | ready.prepared.sources,
            report=make_report(
                ready.prepared,
                holding,
                dataclasses.replace(
                    self.settings, first=span.start + 1, last=span.stop, shutter_s=None
                ),
                blend=self.blend.name,
                program=PROGRAM,
                span=span,
                weights=intake.weights,
                counting=intake.weights,
                outcomes={place: each for place, each in known.items() if place in span},
                plan=self.plan,
                bridged=self.bridged.get(end, BridgedBlend()),
                doubts=Doubts(),
            ),
        )


def _copy_factor(size: tuple[int, int]) -> int:
    """Return by how much the copies that are measured are reduced: a power of two."""
    factor = 1
    while size[0] * size[1] > COPY_PIXELS * factor**2:
        factor *= 2
    return factor
