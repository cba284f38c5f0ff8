"""Exposures of any span of frames in memory, within the time that a drag allows."""

from __future__ import annotations

import threading
from collections.abc import Sequence

from stacker.blend import find_blend
from stacker.blend.selection import median_of
from stacker.blend.spans import SpanBlocks, SpanSums
from stacker.burst import Burst
from stacker.engine.report import open_time
from stacker.engine.settings import Settings
from stacker.engine.shot import Shot
from stacker.engine.span import span_of, weights_of
from stacker.light.encoding import CodedLight, Encoding, Picture, PixelArray

SUMS, BLOCKS, SELECTED = ("mean", "sum"), ("lighten", "darken", "max"), ("median",)
QUICK_BLENDS = (*SUMS, *BLOCKS, *SELECTED)


class QuickSpans:
    """Blends spans of frames that lie upon each other.

    Parameters
    ----------
    frames : codes, uint8 or uint16 (H, W, 3) each; None where there is none (yet).
    weights : how much each counts in a mean, 0 to 1; all alike if None.
    """

    def __init__(
        self,
        frames: Sequence[PixelArray | None],
        encoding: Encoding,
        workers: int,
        weights: Sequence[float] | None = None,
    ) -> None:
        self.frames = frames
        self.encoding = encoding
        self.workers = workers
        self._means = SpanSums(frames, encoding, weights)
        # other blends count all frames alike
        alike = weights is None or set(weights) == {1.0}
        self._sums = self._means if alike else SpanSums(frames, encoding)
        self._blocks: dict[str, SpanBlocks] = {}
        self._turn = threading.Lock()

    def prepare(self, known: int) -> None:
        """Work out beforehand what the first answer would have to wait for."""
        self._means.prepare(known)

    def expose(self, blend: str, places: Sequence[int], *, known: int) -> Picture:
        """Return the exposure of frames at ascending places, which are all there.

        Parameters
        ----------
        blend : one of ``QUICK_BLENDS``.
        known : frames before this one are all that there will be.
        """
        if len(places) == 1 and (frame := self.frames[places[0]]) is not None:
            # of one frame alone all blends are the frame
            return CodedLight(frame, self.encoding.table())
        if blend in SUMS:
            if blend == "mean":
                return self._means.mean(places, known=known)
            return self._sums.sum(places, known=known)
        if blend in SELECTED:
            there = [self.frames[place] for place in places]
            return median_of([f for f in there if f is not None], self.encoding, self.workers)
        return self._blocks_of(blend).result(places)

    def _blocks_of(self, blend: str) -> SpanBlocks:
        """Return the blocks of one blend; those of another are given up, to bound the memory."""
        with self._turn:
            if blend not in self._blocks:
                self._blocks.clear()
                self._blocks[blend] = SpanBlocks(self.frames, self.encoding, find_blend(blend))
            return self._blocks[blend]


def slow_reasons(settings: Settings) -> list[str]:
    """Return what keeps an exposure from being quick, as clauses; nothing where it is."""
    reasons = {
        "the gaps are bridged": bool(settings.bridge),
        "the noise floor is corrected": settings.floor == "true",
        "light fades in tails": settings.tail_s is not None,
        "frames count differently": settings.weights is not None
        or settings.ramp_in_s > 0
        or settings.ramp_out_s > 0,
        "light is evened": settings.even != "off",
        "bursts of fireworks are chosen": settings.keep_bursts is not None,
        # a field of the settings once regions are there
        "regions are made in their own way": bool(getattr(settings, "regions", ())),
        f"{settings.blends[0]} is worked out by the whole": settings.blends[0] not in QUICK_BLENDS,
    }
    return [why for why, is_so in reasons.items() if is_so]


def span_places(burst: Burst, settings: Settings) -> list[int]:
    """Return the places of the frames of a span that are not left out.

    Raises
    ------
    OptionError
        The span does not fit the burst.
    """
    weights = weights_of(burst, span_of(burst, settings), settings)
    return [place for place, weight in enumerate(weights) if weight > 0]


def quick_shot(
    burst: Burst, spans: QuickSpans, blend: str, places: Sequence[int], *, known: int
) -> Shot:
    """Return the exposure of frames at ascending places, all of which are there.

    Parameters
    ----------
    burst : the frames that ``spans`` has.
    blend, known : as for ``QuickSpans.expose``.
    """
    picture = spans.expose(blend, places, known=known)
    pixels = picture.codes if isinstance(picture, CodedLight) else picture
    height, width = pixels.shape[:2]
    weights = [1.0] * len(burst.frames)
    open_s = open_time(burst, places, weights)
    return Shot(
        pieces=[picture],
        columns=range(width),
        size=(width, height),
        space=burst.encoding.space,
        brightest=float(len(places)) if blend == "sum" else 1.0,
        open_s=open_s,
        exif=None,
        burst=burst,
        sources=burst.sources,
        report={"frames_used": len(places), "open_s": open_s, "warnings": []},
    )
