"""A look at the frames before they add up: each is decoded once and shown to whoever asks."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor, wait

from stacker.burst import FILE_ENDS, Burst
from stacker.errors import FrameError
from stacker.light.buffers import zeros
from stacker.light.encoding import PixelArray

Show = Callable[[int, PixelArray], None]
Fail = Callable[[int, FrameError], None]


def both(one: Show, other: Show | None) -> Show:
    """Return what shows a frame to one and then to the other, if there is another."""
    if other is None:
        return one

    def show(place: int, pixels: PixelArray) -> None:
        one(place, pixels)
        other(place, pixels)

    return show


class Look:
    """Shows frames in any order, from several threads."""

    def __init__(self, burst: Burst, workers: int) -> None:
        self.burst = burst
        self.workers = workers
        self._stopped = threading.Event()
        self._buffers = threading.local()

    def at(self, places: Sequence[int], show: Show, fail: Fail) -> None:
        """Call ``show(place, pixels)`` with each frame, or ``fail(place, error)``.

        Pixels are in the burst's encoding, and only lent.
        """
        with ThreadPoolExecutor(self.workers, thread_name_prefix="look") as pool:
            futures = [pool.submit(self._run, run, show, fail) for run in self.burst.runs(places)]
            try:
                wait(futures)
            except BaseException:
                self._stopped.set()
                for future in futures:
                    future.cancel()
                raise
        for future in futures:
            future.result()

    def _run(self, run: tuple[int, ...], show: Show, fail: Fail) -> None:
        """Look at the frames of one file; one that cannot be read costs no other."""
        width, height = self.burst.size
        if not hasattr(self._buffers, "pixels"):
            self._buffers.pixels = zeros((height, width, 3), self.burst.encoding.stored)
        left = list(run)
        while left:
            try:
                for place, pixels in self.burst.decode(tuple(left), out=self._buffers.pixels):
                    if self._stopped.is_set():
                        return
                    show(place, pixels)
                    left.remove(place)
                return
            except FrameError as error:
                lost = len(left) if error.code == FILE_ENDS else 1
                for place in left[:lost]:
                    fail(place, error)
                del left[:lost]
