"""A burst that is open on the page: its frames, read in the background, and what is made of them."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from hashlib import sha256
from math import ceil
from typing import Any

from stacker.burst import Burst, open_burst
from stacker.engine.look import Look
from stacker.engine.passes import worker_count
from stacker.engine.reduced import HeldBurst, held_burst, reduce_burst, reduced
from stacker.errors import FrameError
from stacker.light.encoding import PixelArray
from stacker.page.folder import Served

COARSE_SIDE = 375


@dataclass(eq=False)
class Opened:
    """One burst: its frames at full size on disk, reduced in memory, and coarse."""

    key: str
    place: str
    name: str
    burst: Burst
    fine: HeldBurst
    coarse: HeldBurst
    bad: dict[int, FrameError] = field(default_factory=dict)
    loaded: set[int] = field(default_factory=set)
    fault: BaseException | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    @property
    def ready(self) -> bool:
        """Whether all frames were read."""
        return len(self.loaded) + len(self.bad) >= len(self.burst.frames)

    def told(self) -> dict[str, Any]:
        """Return what the burst is, ready for JSON."""
        return {
            "key": self.key,
            "id": self.place,
            "name": self.name,
            "size": list(self.burst.size),
            "preview_size": list(self.fine.size),
            "frames": [
                {
                    "n": place + 1,
                    "name": frame.name,
                    "start_s": round(frame.start_s, 6),
                    "shutter_s": frame.shutter_s,
                    "problem": str(frame.problem) if frame.problem else None,
                    "left_out": None,
                }
                for place, frame in enumerate(self.burst.frames)
            ],
            "settings": {},
            "versions": [],
            "warnings": list(self.burst.warnings),
            "ready": self.ready,
        }

    def progress(self) -> dict[str, Any]:
        """Return how many frames were read and what was seen in them, ready for JSON."""
        count = len(self.burst.frames)
        return {
            "loaded": len(self.loaded) + len(self.bad),
            "of": count,
            "graphs": {"light": [None] * count, "shake_px": [None] * count},
            "left_out": {},
            "ready": self.ready,
        }

    def start(self) -> None:
        """Begin to read the frames."""
        self._thread = threading.Thread(target=self._load, name="preview", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop reading, and wait for it."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join()

    def _load(self) -> None:
        places = list(range(len(self.burst.frames)))
        try:
            Look(self.fine, worker_count(None)).at(places, self._show, self._fail)
        except _StoppedError:
            return

    def _show(self, place: int, pixels: PixelArray) -> None:
        if self._stop.is_set():
            raise _StoppedError
        held: Any = self.fine.held
        coarse: Any = self.coarse.held
        held[place] = pixels.copy()
        factor = self.coarse.factor // self.fine.factor
        coarse[place] = reduced(pixels, self.fine.encoding, self.fine.encoding, factor)
        self.loaded.add(place)

    def _fail(self, place: int, error: FrameError) -> None:
        self.bad[place] = error


class _StoppedError(Exception):
    """The burst was closed."""


def open_place(served: Served, place: object) -> Opened:
    """Return a burst, its frames still to be read.

    Raises
    ------
    StackerError
        There is none, or it cannot be opened.
    """
    path = served.path_of(place)
    burst = open_burst(path)
    fine = reduce_burst(burst)
    times = max(1, ceil(max(fine.size) / COARSE_SIDE))
    coarse = reduce_burst(burst, fine.factor * times)
    return Opened(
        key=sha256(str(path).encode()).hexdigest()[:12],
        place=str(place),
        name=path.name,
        burst=burst,
        fine=held_burst(fine, [None] * len(burst.frames)),
        coarse=held_burst(coarse, [None] * len(burst.frames)),
    )
