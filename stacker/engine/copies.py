"""Reduced copies of the frames, for registration to look at as often as it needs."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from io import FileIO

import numpy as np

from stacker.burst import Burst
from stacker.engine.look import Look
from stacker.engine.progress import Progress
from stacker.engine.spool import telling_temporary
from stacker.errors import FrameError
from stacker.light.encoding import LightArray, PixelArray
from stacker.light.luminance import luminance
from stacker.light.reduce import reduce_light
from stacker.register.scene.grey import BURNT_OUT, GreyArray

# float16 holds light to a 2000th: far below the noise of a frame of a clip
SPOOLED = np.dtype("float16")


class Copies:
    """Reduced light of each frame, by its place in the burst; black where there is none."""

    def __init__(self, burst: Burst, places: Sequence[int], factor: int) -> None:
        self.burst = burst
        self.places = places
        self.factor = factor
        self.size = (burst.size[0] // factor, burst.size[1] // factor)
        self.bad: dict[int, FrameError] = {}

    def __call__(self, place: int) -> LightArray:
        """Return the light, float32 (h, w, 3)."""
        try:
            return self.burst.reduced_light(place, self.factor)
        except FrameError as error:
            self.bad[place] = error
            return np.zeros((self.size[1], self.size[0], 3), np.float32)


class SpooledCopies(Copies):
    """The same for files of many frames, which are read from their beginning to their end.

    Registration goes from the reference both ways and comes back to some frames; a clip decoded
    so would be decoded many times. Its copies wait on disk, so that memory stays bounded.
    """

    def __init__(self, burst: Burst, places: Sequence[int], factor: int, spool: FileIO) -> None:
        super().__init__(burst, places, factor)
        self.spool = spool
        self.turn = threading.Lock()
        self.number_of = {place: number for number, place in enumerate(places)}

    def fill(self, workers: int, progress: Progress) -> None:
        """Read all frames."""
        weights = self.burst.encoding.space.luminance_weights
        progress.start("looking at the frames", len(self.places))

        def show(place: int, pixels: PixelArray) -> None:
            light = reduce_light(pixels, self.burst.encoding, self.factor)
            bright = luminance(light, weights)
            # one channel stands for all; where any is burnt out, the copy is
            bright[light.max(axis=2) >= BURNT_OUT] = 1.0
            self._put(place, bright)
            progress.advance()

        def fail(place: int, error: FrameError) -> None:
            self.bad[place] = error
            progress.advance()

        Look(self.burst, workers).at(self.places, show, fail)

    def __call__(self, place: int) -> LightArray:
        """Return the light, float32 (h, w, 3), the same in every channel."""
        width, height = self.size
        spooled = np.zeros((height, width), SPOOLED)
        # the copy of a frame that could not be read was never put there
        if place not in self.bad:
            with self.turn:
                self.spool.seek(self.number_of[place] * spooled.nbytes)
                self.spool.readinto(spooled.data)
        return np.repeat(spooled.astype(np.float32)[:, :, np.newaxis], 3, axis=2)

    def _put(self, place: int, bright: GreyArray) -> None:
        # written, not mapped: a mapped file on a full disk kills the program without a word
        spooled = bright.astype(SPOOLED)
        with self.turn, telling_temporary():
            self.spool.seek(self.number_of[place] * spooled.nbytes)
            rest = spooled.data.cast("B")
            while rest:
                rest = rest[self.spool.write(rest) :]


@contextmanager
def copies_of(
    burst: Burst, places: Sequence[int], factor: int, workers: int, progress: Progress
) -> Iterator[Copies]:
    """Give the copies that registration looks at."""
    plain = Copies(burst, places, factor)
    if len(burst.runs(places)) == len(places):
        yield plain
        return
    with ExitStack() as stack:
        with telling_temporary():
            spool = stack.enter_context(tempfile.TemporaryFile(buffering=0))
        spooled = SpooledCopies(burst, places, factor, spool)
        spooled.fill(workers, progress)
        yield spooled
