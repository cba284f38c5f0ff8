"""Planes and satellites taken out of star trails before the frames add up."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge import Exposed
from stacker.bridge.planes import Passing, find_passing
from stacker.bridge.planes.mend import carried_light, mended_light, pixels_of
from stacker.bridge.sky import SkyBridge, bridge_sky
from stacker.burst import FILE_ENDS, Burst
from stacker.engine.frame_light import FrameLight
from stacker.engine.holding import Holding, as_they_lie
from stacker.engine.memory import KEPT_FRAMES, frame_bytes, workers_within
from stacker.engine.passes import offering_to_skip
from stacker.engine.progress import Progress
from stacker.engine.settings import Settings
from stacker.engine.spool import Spool, SpooledPiece
from stacker.errors import FrameError
from stacker.light.encoding import Encoder, Encoding, LightArray, PixelArray

NO_CLOCK = (
    "planes are not looked for: the frames do not say how long they were open; give it with "
    "--frame-shutter, or --keep-planes"
)
# whole frames of light that the search may take besides those that are kept, as a bridge
WORKING_FRAMES = 2
LIGHT_PIXEL_BYTES = 12
# names of frames that are told
NAMED = 3


@dataclass(frozen=True, eq=False)
class KnownSky:
    """The stars of a burst, found before the pass, for whoever needs them again.

    ``places`` are the frames that were looked at.
    """

    places: tuple[int, ...]
    bridge: SkyBridge

    def fits(self, used: Sequence[int], holding: Holding) -> bool:
        """Return whether it is that of these frames, held like this."""
        return tuple(used) == self.places and not holding.warps


@dataclass(frozen=True, eq=False)
class Cleared:
    """A burst without planes, what the report says of it, and what was learnt of the sky."""

    burst: Burst
    found: Mapping[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    sky: KnownSky | None = None
    peak_bytes: int = 0


@dataclass(frozen=True, eq=False)
class TakenOut:
    """Replaces what passed in each frame: a ``Retouch``. Its pixels wait on disk."""

    pieces: Mapping[int, tuple[SpooledPiece, SpooledPiece]]

    def __call__(self, pixels: PixelArray, index: int) -> None:
        """Replace pixels of a frame in place."""
        if index in self.pieces:
            where, values = (np.asarray(each.result()) for each in self.pieces[index])
            pixels.reshape(-1, 3)[where] = values


def take_out_planes(
    burst: Burst, places: Sequence[int], settings: Settings, progress: Progress
) -> Cleared:
    """Return the burst with the sky in the place of planes and satellites.

    Parameters
    ----------
    places : the frames to be used.

    Raises
    ------
    FrameError
        A frame cannot be read and bad frames are not skipped.
    OptionError
        The memory is too small for a look at the stars.
    """
    if settings.planes == "keep" or len(places) < 2:
        return Cleared(burst)
    peak_bytes = _peak_bytes(burst, settings)
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        left = list(places)
        while len(left) > 1:
            search = _Search(burst, left, progress)
            try:
                return replace(search.run(), peak_bytes=peak_bytes)
            except FrameError as error:
                if settings.on_bad == "stop" and error.code != FILE_ENDS:
                    raise offering_to_skip(error) from error
                # the pass finds them bad as well, and says so
                lost = search.asked if error.code == FILE_ENDS else [search.asked[0]]
                left = [place for place in left if place not in lost]
        return Cleared(burst)
    finally:
        cv2.setNumThreads(threads)


def _peak_bytes(burst: Burst, settings: Settings) -> int:
    """Return the memory that the search takes."""
    pixels = burst.size[0] * burst.size[1]
    frame = frame_bytes(
        burst.size,
        burst.encoding.stored,
        developed=burst.development is not None,
        corrected=burst.by_light,
    )
    light = (KEPT_FRAMES + WORKING_FRAMES) * pixels * LIGHT_PIXEL_BYTES
    return workers_within(settings.memory, 1, frame + light)[1]


class _Search:
    """One search of frames that can be read, as far as is known."""

    def __init__(self, burst: Burst, places: Sequence[int], progress: Progress) -> None:
        self.burst, self.places, self.progress = burst, list(places), progress
        self.frames = FrameLight(burst, self.places, as_they_lie(burst))
        # the place of the frame asked for last, and of those after it in its file
        self.asked: list[int] = []

    def light(self, number: int) -> LightArray:
        """Return the light of a frame, by its number among those looked at."""
        place = self.places[number]
        run = next(run for run in self.burst.runs(self.places[number:]) if place in run)
        self.asked = list(run)
        return self.frames(number)

    def run(self) -> Cleared:
        exposed = self._exposed()
        if exposed is None:
            return Cleared(self.burst, warnings=(NO_CLOCK,))
        weights = self.burst.encoding.space.luminance_weights
        count = len(self.places)
        self.progress.start("looking at the stars", count)
        sky = bridge_sky(
            self.light, exposed, weights=weights, on_frame=lambda _, __: self.progress.advance()
        )
        known = KnownSky(tuple(self.places), sky)
        if sky.sky is None:
            why = next((gap.why for gap in sky.gaps if gap.why), "no sky that turns was found")
            return Cleared(self.burst, {}, (f"planes were not looked for: {why}",), known)
        self.progress.start("looking for planes", count)
        passing = find_passing(self.light, exposed, sky, weights, self.progress.advance)
        pieces = self._mended(passing, sky)
        burst = self.burst.retouched(TakenOut(pieces)) if pieces else self.burst
        return Cleared(burst, {"planes": self._found(passing)}, self._told(passing), known)

    def _exposed(self) -> list[Exposed] | None:
        frames = [self.burst.frames[place] for place in self.places]
        if any(frame.shutter_s is None for frame in frames):
            return None
        return [Exposed(frame.start_s, frame.shutter_s or 0.0) for frame in frames]

    def _mended(
        self, passing: Passing, sky: SkyBridge
    ) -> dict[int, tuple[SpooledPiece, SpooledPiece]]:
        """Return the pixels to be replaced and what by, by the place of the frame."""
        numbers = [number for number in range(len(self.places)) if passing.planes(number)]
        if not numbers:
            return {}
        spool = Spool()
        self.progress.start("taking planes out", len(numbers))
        pieces = {}
        for number in numbers:
            where, values = self._replaced(number, passing, sky)
            if len(where):
                pieces[self.places[number]] = (spool.put(where), spool.put(values))
            self.progress.advance()
        return pieces

    def _replaced(
        self, number: int, passing: Passing, sky: SkyBridge
    ) -> tuple[npt.NDArray[Any], PixelArray]:
        """Return the pixels of a frame that change, (N,), and their numbers, (N, 3)."""
        width, height = self.burst.size
        where = pixels_of(passing.planes(number), (height, width))
        seen = []
        own = np.zeros((0, 3), np.float32)
        # in the order of time, one frame after the other
        for each in (number - 1, number, number + 1):
            if each == number:
                own = self.light(each).reshape(-1, 3)[where]
            elif 0 <= each < len(self.places):
                carried = carried_light(where, number, each, self.light(each), sky)
                seen += [] if carried is None else [carried]
        light = mended_light(own, seen)
        changed = (light < own).any(axis=1)
        return where[changed], encoded(light[changed], self.burst.encoding)

    def _found(self, passing: Passing) -> dict[str, Any]:
        """Return what the report says."""

        def streaks(number: int, kind: str) -> list[dict[str, Any]]:
            return [
                {"ends": each.ends.round(1).tolist(), "width": round(2 * each.half_width_px, 1)}
                for each in passing.streaks[number]
                if each.kind == kind
            ]

        numbers = range(len(self.places))
        return {
            "passages": len({e.passage for n in numbers for e in passing.planes(n)}),
            "streaks": sum(len(passing.planes(number)) for number in numbers),
            "taken_out": [
                {"frame": self._name(n), "streaks": streaks(n, "plane")}
                for n in numbers
                if passing.planes(n)
            ],
            "kept_as_meteors": [
                {"frame": self._name(n), "streaks": streaks(n, "meteor")}
                for n in numbers
                if passing.meteors(n)
            ],
        }

    def _told(self, passing: Passing) -> tuple[str, ...]:
        """Return sentences for a person."""
        numbers = range(len(self.places))
        told = []
        planes = [n for n in numbers if passing.planes(n)]
        if planes:
            count = sum(len(passing.planes(n)) for n in planes)
            told.append(
                f"{_some(count, 'streak')} of planes or satellites {_be(count)} taken out of "
                f"{self._names(planes)}; --keep-planes keeps them"
            )
        meteors = [n for n in numbers if passing.meteors(n)]
        if meteors:
            count = sum(len(passing.meteors(n)) for n in meteors)
            told.append(
                f"{_some(count, 'streak')} that shone within one frame, as a meteor's may, "
                f"{_be(count)} kept: {self._names(meteors)}"
            )
        return tuple(told)

    def _name(self, number: int) -> str:
        return self.burst.frames[self.places[number]].name

    def _names(self, numbers: Sequence[int]) -> str:
        more = f" and {len(numbers) - NAMED} more" if len(numbers) > NAMED else ""
        return ", ".join(map(self._name, numbers[:NAMED])) + more


def encoded(light: LightArray, encoding: Encoding) -> PixelArray:
    """Return light (N, 3) as a burst's frames store it; light of a code gives that code."""
    if encoding.is_light:
        return light
    codes = Encoder(encoding.curve).encode(light)
    # 257 codes of 16 bits are one of 8
    return codes if encoding.stored == "uint16" else ((codes + 128.0) // 257).astype(np.uint8)


def _some(count: int, what: str) -> str:
    return f"{count} {what}{'s' if count != 1 else ''}"


def _be(count: int) -> str:
    return "were" if count != 1 else "was"
