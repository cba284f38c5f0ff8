"""The frames of a burst in memory, as one holding puts them upon each other, at two sizes."""

from __future__ import annotations

from collections.abc import Mapping, MutableSequence
from dataclasses import dataclass, field, replace
from itertools import count
from math import ceil

from stacker.burst import Burst
from stacker.engine.holding import Holding
from stacker.engine.passes import worker_count
from stacker.engine.progress import Progress
from stacker.engine.quick_spans import QuickSpans
from stacker.engine.reduced import HeldBurst, ReducedBurst, held_burst, reduce_burst, reduced
from stacker.engine.settings import KEEPING_BLENDS, Settings
from stacker.engine.settled import held_codes
from stacker.light.encoding import PixelArray

# the side of the copies that answer while the ends of a span are dragged
COARSE_SIDE = 375

Slots = MutableSequence[PixelArray | None]


@dataclass(frozen=True, eq=False)
class Level:
    """Frames of one size: as a burst for the engine, and for quick spans."""

    burst: HeldBurst
    frames: Slots
    spans: QuickSpans
    # no two have the same, as memory may after one is gone
    number: int = field(default_factory=count().__next__)


@dataclass(frozen=True, eq=False)
class View:
    """What a preview is made from.

    Parameters
    ----------
    fine, coarse : the frames at the two sizes.
    times : how many fine pixels make the side of a coarse one.
    refused : why frames do not belong in the picture, by their place.
    notes : sentences about how frames are held.
    partly : some frames have nothing to say about parts of the picture, so that a quick answer
        would be wrong there.
    weights : how much each frame counts in a mean; all alike if None.
    holding : how the frames were put upon each other; None for frames as they lie.
    """

    fine: Level
    coarse: Level
    times: int
    refused: Mapping[int, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    partly: bool = False
    weights: tuple[float, ...] | None = None
    holding: Holding | None = None

    @property
    def whole_region(self) -> tuple[int, int, int, int]:
        """Where the picture lies in the frame that others are brought to: x, y, width, height.

        In pixels of the full size.
        """
        burst = self.fine.burst
        factor = burst.factor
        if self.holding is None or not self.holding.warps:
            width, height = burst.whole.size
            return 0, 0, width, height
        region = self.holding.region
        x, y = region.columns.start * factor, region.rows.start * factor
        return x, y, len(region.columns) * factor, len(region.rows) * factor

    def prepare(self) -> None:
        """Make ready for the first answer, once all frames are there."""
        for level in (self.coarse, self.fine):
            level.spans.prepare(len(level.frames))

    def put(self, place: int, pixels: PixelArray) -> None:
        """Take in one frame of the fine size, which is kept."""
        encoding = self.fine.burst.encoding
        self.coarse.frames[place] = reduced(pixels, encoding, encoding, self.times)
        self.fine.frames[place] = pixels


def empty_view(burst: Burst, factor: int | None = None) -> View:
    """Return the view of a burst's frames as they lie, before any was read."""
    fine = reduce_burst(burst, factor)
    times = max(1, ceil(max(fine.size) / COARSE_SIDE))
    coarse = reduce_burst(burst, fine.factor * times)
    return View(_level(fine, fine.size), _level(coarse, coarse.size), times)


def held_view(plain: View, holding: Holding, progress: Progress) -> View:
    """Return the frames of a view brought to where its holding has them.

    Where nothing moves, the frames are those of the view itself.
    """
    refused, notes = holding.refused, tuple(holding.warnings)
    if not holding.warps:
        return replace(plain, refused=refused, notes=notes, holding=holding)
    burst = plain.fine.burst
    width, height = holding.region.size
    weights = holding.weighted((1.0,) * len(burst.frames))
    fine = _level(burst, (width, height), weights)
    small = (width // plain.times, height // plain.times)
    coarse = _level(plain.coarse.burst, small, weights)
    view = View(fine, coarse, plain.times, refused, notes, holding.masked, weights, holding)
    progress.start("bringing frames together", len(holding.warps))
    for place in holding.warps:
        pixels = plain.fine.frames[place]
        if pixels is not None:
            view.put(place, held_codes(burst, holding, place, pixels))
        progress.advance()
    return view


def holding_key(settings: Settings) -> tuple[object, ...]:
    """Return what a holding hangs on, so that one that is known is not sought again."""
    chosen = settings.subject.name if settings.subject and settings.is_chosen("hold") else None
    keeping = not set(KEEPING_BLENDS).isdisjoint(settings.blends)
    return settings.hold, settings.reference, settings.crop, settings.box, chosen, keeping


def _level(
    burst: ReducedBurst, size: tuple[int, int], weights: tuple[float, ...] | None = None
) -> Level:
    """Return the burst's frames at a size, none of them there yet."""
    frames: Slots = [None] * len(burst.frames)
    sized = replace(burst, frames=tuple(replace(frame, size=size) for frame in burst.frames))
    held = held_burst(sized, frames)
    spans = QuickSpans(frames, held.encoding, worker_count(None), weights)
    return Level(held, frames, spans)
