"""Reduced copies of the frames, for registration to look at as often as it needs."""

from __future__ import annotations

import tempfile
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from io import FileIO

import numpy as np

from stacker.burst import Burst
from stacker.engine.look import Look, Show
from stacker.engine.progress import Progress
from stacker.engine.spool import telling_temporary
from stacker.errors import FrameError
from stacker.light.encoding import LightArray, PixelArray, decode
from stacker.light.luminance import greatest_channel, luminance
from stacker.light.reduce import reduce_codes, reduce_light
from stacker.register.scene.grey import BURNT_OUT, GreyArray

# float16 holds light to a 2000th: far below the noise of a frame of a clip
SPOOLED = np.dtype("float16")
# what copies may take in memory: fourteen of JPEGs of 24 megapixels
KEPT_BYTES = 64 * 10**6


class Copies:
    """Reduced light of each frame, by its place in the burst; black where there is none.

    The first copies are kept, so that short bursts are decoded once for all that is asked.

    Parameters
    ----------
    in_light : whether light is averaged, as figures about it need; for places alone averages of
        codes are as good and take half of the time.
    """

    def __init__(
        self, burst: Burst, places: Sequence[int], factor: int, *, in_light: bool = False
    ) -> None:
        self.burst = burst
        self.in_light = in_light
        self.places = places
        self.factor = factor
        self.size = (burst.size[0] // factor, burst.size[1] // factor)
        self.bad: dict[int, FrameError] = {}
        self.kept: dict[int, PixelArray] = {}

    def __call__(self, place: int) -> LightArray:
        """Return the light, float32 (h, w, 3)."""
        if self.in_light:
            return self._averaged(place)
        pixels = self.kept.get(place)
        if pixels is None:
            try:
                pixels = self.burst.small_copy(place, self.factor)
            except FrameError as error:
                self.bad[place] = error
                return np.zeros((self.size[1], self.size[0], 3), np.float32)
            if (len(self.kept) + 1) * pixels.nbytes <= KEPT_BYTES:
                self.kept[place] = pixels
        return decode(pixels, self.burst.encoding)

    def _averaged(self, place: int) -> LightArray:
        try:
            _, pixels = next(iter(self.burst.decode([place])))
        except FrameError as error:
            self.bad[place] = error
            return np.zeros((self.size[1], self.size[0], 3), np.float32)
        return reduce_light(pixels, self.burst.encoding, self.factor)


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

    def fill(self, workers: int, progress: Progress, also: Show | None = None) -> None:
        """Read all frames.

        ``also`` is shown each of them as it was decoded; copies are then averages of light, as
        for figures about it, while those that tell places alone are averages of codes.
        """
        weights = self.burst.encoding.space.luminance_weights
        progress.start("looking at the frames", len(self.places))

        def show(place: int, pixels: PixelArray) -> None:
            if also is not None:
                also(place, pixels)
                light = reduce_light(pixels, self.burst.encoding, self.factor)
            else:
                light = decode(reduce_codes(pixels, self.factor), self.burst.encoding)
            bright = luminance(light, weights)
            # one channel stands for all; where any is burnt out, the copy is
            bright[greatest_channel(light) >= BURNT_OUT] = 1.0
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
    burst: Burst,
    places: Sequence[int],
    factor: int,
    workers: int,
    progress: Progress,
    *,
    known: Copies | None = None,
    in_light: bool = False,
) -> Iterator[Copies]:
    """Give the copies that registration looks at, or with ``in_light`` those that figures are of.

    ``known`` are copies of some of these frames, by the same factor, that may be used again.
    """
    if len(burst.runs(places)) == len(places):
        plain = Copies(burst, places, factor, in_light=in_light)
        if known is not None:
            plain.kept = known.kept
        yield plain
        return
    # whoever is shown the frames has copies that are averages of light
    also = (lambda _place, _pixels: None) if in_light else None
    with spooled_copies(burst, places, factor, workers, progress, also) as copies:
        yield copies


@contextmanager
def spooled_copies(
    burst: Burst,
    places: Sequence[int],
    factor: int,
    workers: int,
    progress: Progress,
    also: Show | None = None,
) -> Iterator[SpooledCopies]:
    """Give copies that wait on disk, made in one reading of the files."""
    with ExitStack() as stack:
        with telling_temporary():
            spool = stack.enter_context(tempfile.TemporaryFile(buffering=0))
        spooled = SpooledCopies(burst, places, factor, spool)
        spooled.fill(workers, progress, also)
        yield spooled
