"""A burst made ready for a pass: its span, what is wrong with it, and how it is held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from stacker.burst import Burst
from stacker.engine.hold import hold
from stacker.engine.holding import Holding
from stacker.engine.memory import frame_bytes
from stacker.engine.passes import FrameOutcome, offering_to_skip
from stacker.engine.prepare import Prepared, prepare
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.engine.span import span_of, weights_of
from stacker.errors import BurstError


@dataclass(frozen=True, eq=False)
class Ready:
    """A burst of which everything is known but its light.

    Parameters
    ----------
    prepared : the burst with its corrections.
    holding : how its frames are put upon each other.
    span : the places of the frames asked for.
    weights : one per frame of the burst; 0 for those that are not used.
    outcomes : the frames of the span that turned out to be bad, by their place.
    """

    prepared: Prepared
    holding: Holding
    span: range
    weights: tuple[float, ...]
    outcomes: Mapping[int, FrameOutcome]

    @property
    def burst(self) -> Burst:
        """The burst with its corrections."""
        return self.prepared.burst

    @property
    def places(self) -> list[int]:
        """The frames to be used.

        Raises
        ------
        BurstError
            There is none.
        """
        places = [place for place in self.span if self.weights[place] > 0]
        if not places:
            raise nothing_left(self.burst, self.outcomes)
        return places

    @property
    def frame_bytes(self) -> int:
        """What a worker takes for the frame that it works on."""
        burst = self.burst
        return frame_bytes(
            burst.size,
            burst.encoding.stored,
            developed=burst.development is not None,
            corrected=burst.by_light,
        )

    def without(self, bad: Mapping[int, FrameOutcome]) -> Ready:
        """Return the same as if these frames had never been there."""
        weights = tuple(0.0 if place in bad else w for place, w in enumerate(self.weights))
        return replace(self, weights=weights, outcomes={**self.outcomes, **bad})


def make_ready(burst: Burst, settings: Settings, progress: Progress) -> Ready:
    """Return the burst ready for a pass.

    Raises
    ------
    StackerError
        The settings or the burst do not allow it.
    """
    span = span_of(burst, settings)
    weights = weights_of(burst, span, settings)
    bad = known_bad(burst, span, weights, settings)
    prepared = prepare(burst, settings, weights, progress)
    good = [place for place in span if weights[place] > 0 and place not in bad]
    holding = hold(prepared.burst, good, settings, progress, lambda: None)
    refused = {place: FrameOutcome() for place in holding.refused}
    ready = Ready(prepared, holding, span, weights, {}).without(refused)
    return replace(ready, outcomes={}).without({**bad, **holding.bad})


def known_bad(
    burst: Burst, span: range, weights: Sequence[float], settings: Settings
) -> dict[int, FrameOutcome]:
    """Return the frames known to be bad since the burst was opened; stop at the first if told."""
    bad: dict[int, FrameOutcome] = {}
    for place in span:
        problem = burst.frames[place].problem
        if problem is not None and weights[place] > 0:
            if settings.on_bad == "stop":
                raise offering_to_skip(problem)
            bad[place] = FrameOutcome(error=problem)
    return bad


def nothing_left(burst: Burst, outcomes: Mapping[int, FrameOutcome]) -> BurstError:
    """Return the error that no frame can be used."""
    first = min(outcomes)
    error = outcomes[first].error
    return BurstError(
        burst.frames[first].name,
        f"no frame of {len(outcomes)} can be used; of the first: {error.why if error else ''}",
        remedy="copy the files again from the card",
        code="burst-no-frames",
    )
