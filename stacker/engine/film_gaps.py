"""The light of the gaps in a film that builds up: laid as its frames come in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stacker.blend import Blend
from stacker.bridge import Bridge, Patch
from stacker.burst import FILE_ENDS
from stacker.engine.bridging import JOINS, Found, bridge_plan, empty_laid, factors_of
from stacker.engine.gaps import NO_CLOCK, BridgedBlend, left_alone
from stacker.engine.laid import BridgedPiece
from stacker.engine.passes import FrameOutcome, offering_to_skip
from stacker.engine.progress import Progress
from stacker.engine.ready import Ready
from stacker.engine.settings import Settings
from stacker.errors import FrameError
from stacker.light.encoding import Encoding, LightArray, Picture, PixelArray, decode


@dataclass(frozen=True, eq=False)
class FilmLook:
    """A burst made ready, with the bridges over the gaps of its frames.

    ``found`` is None where no bridge is wanted, or the clock is not known.
    """

    ready: Ready
    found: Found | None = None


def look_for_film(ready: Ready, blend: Blend, settings: Settings, progress: Progress) -> FilmLook:
    """Return the bridges of a film's frames, and what is ready without those that are bad.

    Raises
    ------
    FrameError
        A frame cannot be read, and bad ones are not skipped.
    """
    if not settings.bridge:
        return FilmLook(ready)
    joining = {blend.name: JOINS[blend.name]}
    while True:
        held = ready.prepared.held_bytes
        plan = bridge_plan(ready.burst, ready.weights, [blend], settings, held)
        failed: list[int] = []
        arguments = (ready.weights, joining, ready.holding, plan, progress, failed)
        try:
            return FilmLook(ready, Found.look(ready.burst, ready.places, *arguments))
        except FrameError as error:
            ready = _without(ready, failed, error, settings)


def _without(ready: Ready, bad: Sequence[int], error: FrameError, settings: Settings) -> Ready:
    """Return what is ready without the frames that an error is about, if they may be left out."""
    if settings.on_bad == "stop" and error.code != FILE_ENDS:
        raise offering_to_skip(error)
    if not bad:
        raise error
    if error.code == FILE_ENDS:
        path = ready.burst.frames[bad[0]].path
        bad = [p for p in ready.places if p >= bad[0] and ready.burst.frames[p].path == path]
    return ready.without({place: FrameOutcome(error=error) for place in bad})


class GapsOnTheWay:
    """Lays the light of each gap when the frame after it has come in.

    Parameters
    ----------
    encoding : of the frames that are shown.
    """

    def __init__(self, found: Found, blend: Blend, ready: Ready, encoding: Encoding) -> None:
        self.found, self.encoding = found, encoding
        self.joins = JOINS[blend.name]
        self.average = blend.name == "mean"
        self.region = ready.holding.region
        self.weights = ready.weights
        self.laid = empty_laid(blend.name, ready.burst)
        self.factors = factors_of(blend, found.used, ready.weights)
        self._order = {place: number for number, place in enumerate(found.used)}
        self._before: tuple[int, LightArray] | None = None
        self._weight = 0.0

    def take(self, pixels: PixelArray, index: int) -> None:
        """See the next frame, (rows, width, 3): those of the region, and of the frame's width."""
        self._weight += self.weights[index]
        number = self._order[index]
        columns = slice(self.region.columns.start, self.region.columns.stop)
        before, self._before = self._before, None
        able = [gap for gap in (number - 1, number) if 0 <= gap < self.found.count]
        if not any(self.found.able(gap) for gap in able):
            return
        light = decode(np.ascontiguousarray(pixels[:, columns]), self.encoding)
        # a frame between them that could not be read leaves no pair
        if before is not None and before[0] == number - 1:
            self.found.lay_gap(number - 1, before[1], light, self._put)
        self._before = number, light

    def _put(self, number: int, _words: str, _bridge: Bridge, patch: Patch) -> None:
        self.laid.lay(patch, self.factors[number])

    def joined(self, picture: Picture) -> Picture:
        """Return the picture of the frames so far with the light of the gaps so far."""
        scale = 1 / self._weight if self.average else 1.0
        rows = range(len(self.region.rows))
        return BridgedPiece(picture, self.laid, rows, self.region.columns.start, scale).result()

    def told(self) -> BridgedBlend:
        """Return what became of the gaps."""
        return self.found.told(self.laid, self.joins)


def told_of_film(gaps: GapsOnTheWay | None, ready: Ready, settings: Settings) -> BridgedBlend:
    """Return what became of the gaps of a film."""
    if gaps is not None:
        return gaps.told()
    return left_alone(ready.places, NO_CLOCK) if settings.bridge else BridgedBlend()
