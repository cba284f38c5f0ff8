"""The light of whole frames for a look at the burst, decoded ahead by other threads."""

from __future__ import annotations

import itertools
import threading
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from types import TracebackType
from typing import Self

from stacker.burst import Burst
from stacker.engine.frame_light import FrameLight
from stacker.engine.holding import Holding
from stacker.engine.progress import Progress
from stacker.errors import FrameError
from stacker.light.encoding import LightArray


class FramesAhead:
    """Gives the light of the frames at ``places`` by their number among them, to any thread.

    While whoever asks works on a frame, threads of its own decode those that are likely to be asked
    for next. The light is that of ``FrameLight``, however many threads there are. A context: when
    it is left, the threads are done.

    Parameters
    ----------
    ahead : how many frames are on their way at the most; none with 0.
    progress : advanced for each frame that is asked for for the first time.
    failed : takes the places of frames that were asked for and cannot be read, if given.
    """

    def __init__(
        self,
        burst: Burst,
        places: Sequence[int],
        holding: Holding,
        ahead: int,
        progress: Progress,
        failed: list[int] | None = None,
    ) -> None:
        self.burst, self.places, self.holding = burst, places, holding
        self.progress = progress
        # a file of many frames is decoded from its beginning to its end, by one thread
        self.in_one_file = len(burst.runs(places)) < len(places)
        self.ahead = min(ahead, 1) if self.in_one_file else ahead
        self._pool = ThreadPoolExecutor(max(1, self.ahead), thread_name_prefix="ahead")
        self._own = threading.local()
        self._turn = threading.Lock()
        self._coming: dict[int, Future[LightArray]] = {}
        self._seen: set[int] = set()
        self._asked = _Asked()
        self._failed = [] if failed is None else failed

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Let nothing more be decoded, and wait for what is."""
        self._pool.shutdown(cancel_futures=True)

    def __call__(self, number: int) -> LightArray:
        """Return the light, float32 (h, w, 3), not to be changed.

        Raises
        ------
        FrameError
            The frame cannot be read.
        """
        with self._turn:
            if number not in self._seen:
                self._seen.add(number)
                self.progress.advance()
            coming = self._coming.pop(number, None)
            if coming is None and self.in_one_file and self.ahead:
                # a second decoder would begin at the file's beginning
                coming = self._pool.submit(self._light, number)
            self._ask_ahead(number)
        # other files are decoded here rather than waited for behind what may be of no use
        try:
            return self._light(number) if coming is None else coming.result()
        except FrameError:
            self._failed.append(self.places[number])
            raise

    def _ask_ahead(self, number: int) -> None:
        """Have the likeliest next frames decoded, and forget the others."""
        likely = self._asked.after(number, self.ahead, len(self.places))
        for other in [other for other in self._coming if other not in likely]:
            self._coming.pop(other).cancel()
        for other in likely:
            if other not in self._coming:
                self._coming[other] = self._pool.submit(self._light, other)

    def _light(self, number: int) -> LightArray:
        if not hasattr(self._own, "frames"):
            self._own.frames = FrameLight(self.burst, self.places, self.holding, kept=1)
        light: LightArray = self._own.frames(number)
        return light


class _Asked:
    """What was asked for, and what is likely to be asked for next.

    Bridges ask for runs: 0, 1, 2, then 8, 9, 10, and so on. What followed the last time that two
    steps had been these is taken to follow again; a guess that is wrong costs a frame's decoding.
    """

    def __init__(self) -> None:
        self._last = -1
        self._steps = (0, 0)
        self._next: dict[tuple[int, int], int] = {}

    def after(self, number: int, count: int, frames: int) -> list[int]:
        """Take note of a frame that is asked for; return up to ``count`` that may follow it."""
        step = number - self._last
        self._next[self._steps] = step
        self._last, self._steps = number, (self._steps[1], step)
        likely: list[int] = []
        at, steps = number, self._steps
        for _ in itertools.repeat(None, count):
            # one after the other, until it is known better
            step = self._next.get(steps, 1 if steps[1] == 1 else 0)
            at, steps = at + step, (steps[1], step)
            if step == 0 or not 0 <= at < frames or at in likely:
                break
            likely.append(at)
        return likely
