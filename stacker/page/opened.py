"""A burst that is open on the page: its frames are read, and looked at, in the background."""

from __future__ import annotations

import os
import threading
from collections import OrderedDict
from collections.abc import Collection, Mapping
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from queue import SimpleQueue
from typing import Any

from stacker.burst import Burst, open_burst
from stacker.engine.look import Look
from stacker.engine.passes import worker_count
from stacker.engine.preview import for_reduced
from stacker.engine.settings import Settings
from stacker.engine.settled import settled_holding
from stacker.errors import BurstError, FrameError, StackerError
from stacker.light.encoding import PixelArray
from stacker.page.folder import Served
from stacker.page.frame_graphs import light_stops, shake_px
from stacker.page.views import View, empty_view, held_view, holding_key

# holdings that are kept besides frames as they lie; each that moves frames has a copy of them all
MOST_VIEWS, MOST_MOVED = 12, 1
# finished exposures that are kept
MOST_KEPT = 6


STILL_LOOKING = "where each frame looked is being found out; until then they show as they lie"


class ClosedError(Exception):
    """The burst was closed while it was worked on."""


class Opened:
    """One burst: its frames at full size on disk, and reduced in memory."""

    def __init__(self, place: str, path: Path, burst: Burst) -> None:
        self.key = key_of(path)
        self.place = place
        self.path = path
        self.burst = burst
        self.stamps = _stamps(burst.sources)
        self.folder_stamp = _stamps({path})
        self.plain = empty_view(burst)
        self.bad: dict[int, FrameError] = {
            place: frame.problem for place, frame in enumerate(burst.frames) if frame.problem
        }
        self.fault: str | None = None
        self.looking = True
        # two: one may be on its way to stop, where that takes a while
        self.slow = threading.BoundedSemaphore(2)
        self._kept: OrderedDict[object, Any] = OrderedDict()
        self.light: list[float | None] = [None] * len(burst.frames)
        self.shake: list[float | None] = [None] * len(burst.frames)
        self._views: OrderedDict[object, View | StackerError | None] = OrderedDict()
        self._wanted: SimpleQueue[Settings | None] = SimpleQueue()
        self._stopped = threading.Event()
        self._turn = threading.Lock()
        self._thread = threading.Thread(target=self._work, name="preview", daemon=True)

    @property
    def factor(self) -> int:
        """Pixels of a frame along the side of one of its preview."""
        return self.plain.fine.burst.factor

    @property
    def known(self) -> int:
        """Frames before this one are there, or known to be bad."""
        frames = self.plain.fine.frames
        places = range(len(frames))
        return next((p for p in places if frames[p] is None and p not in self.bad), len(frames))

    @property
    def loaded(self) -> int:
        """How many frames are there, or known to be bad."""
        frames = self.plain.fine.frames
        return sum(frame is not None or p in self.bad for p, frame in enumerate(frames))

    @property
    def held_bytes(self) -> int:
        """What the frames take in memory once all are read."""
        width, height = self.plain.fine.burst.size
        sample = 1 if self.burst.encoding.stored == "uint8" else 2
        return len(self.burst.frames) * width * height * 3 * sample

    def start(self) -> None:
        """Begin to read the frames."""
        self._thread.start()

    def is_untouched(self) -> bool:
        """Whether nothing has changed where the burst lies since it was opened."""
        folder = _stamps({self.path})
        return folder == self.folder_stamp and _stamps(self.burst.sources) == self.stamps

    def is_same_as(self, other: Opened) -> bool:
        """Whether another has the same files, unchanged since they were opened."""
        return self.stamps == other.stamps

    def close(self) -> None:
        """Stop what goes on, and wait for it."""
        self._stopped.set()
        self._wanted.put(None)
        if self._thread.ident is not None:
            self._thread.join()

    def timed(self, opening: Mapping[str, Any]) -> Burst:
        """Return the burst with its frames timed as the settings say, else as the files say.

        Raises
        ------
        StackerError
            The times make no sense, or the files are gone.
        """
        interval_s, shutter_s = opening.get("interval_s"), opening.get("frame_shutter_s")
        if interval_s is None and shutter_s is None:
            return self.burst
        key = ("times", interval_s, shutter_s)
        timed: Burst | None = self.kept(key)
        if timed is None:
            timed = open_burst(self.path, interval_s=interval_s, frame_shutter_s=shutter_s)
            if len(timed.frames) != len(self.burst.frames):
                raise BurstError(
                    self.path,
                    "its files have changed",
                    remedy="open it again",
                    code="burst-changed",
                )
            self.keep(key, timed)
        return timed

    def kept(self, key: object) -> Any:
        """Return what is kept of an exposure, None where nothing is."""
        with self._turn:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def keep(self, key: object, found: object) -> None:
        """Keep a finished exposure, so that going back to it costs nothing."""
        with self._turn:
            self._kept[key] = found
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

    def view_for(self, settings: Settings) -> tuple[View, list[str], bool]:
        """Return the frames as they are held, sentences about them, and whether that will change.

        A holding that is not known yet is looked for in the background; until then frames are
        shown as they lie.

        Raises
        ------
        StackerError
            Frames cannot be held as it was asked for.
        """
        count = len(self.burst.frames)
        if self.fault is not None:
            return self.plain, [self.fault], False
        if self.loaded < count:
            note = f"{self.loaded} of {count} frames are here so far, and shown as they lie"
            return self.plain, [note], True
        if settings.hold == "still":
            return self.plain, [], False
        key = holding_key(settings)
        with self._turn:
            found = self._views.get(key)
            if key in self._views:
                self._views.move_to_end(key)
            else:
                self._views[key] = None
                self.looking = True
                self._wanted.put(settings)
        if isinstance(found, StackerError):
            raise found
        if found is None:
            return self.plain, [STILL_LOOKING], True
        return found, list(found.notes), False

    def left_out(self) -> dict[int, str]:
        """Return why frames are not used unless told otherwise, by their place."""
        view = self._views.get(holding_key(_USUAL))
        refused = dict(view.refused) if isinstance(view, View) else {}
        return refused | {place: error.why for place, error in self.bad.items()}

    def told(self) -> dict[str, Any]:
        """Return what the burst is, ready for JSON."""
        left_out = self.left_out()
        return {
            "key": self.key,
            "id": self.place,
            "name": self.path.name,
            "size": list(self.burst.size),
            "preview_size": list(self.plain.fine.burst.size),
            "frames": [
                {
                    "n": place + 1,
                    "name": frame.name,
                    "start_s": round(frame.start_s, 6),
                    "shutter_s": frame.shutter_s,
                    "problem": str(frame.problem) if frame.problem else None,
                    "left_out": left_out.get(place),
                }
                for place, frame in enumerate(self.burst.frames)
            ],
            "warnings": list(self.burst.warnings),
            "ready": self.is_ready,
        }

    @property
    def is_ready(self) -> bool:
        """Whether all frames were read."""
        return self.loaded == len(self.burst.frames)

    def progress(self) -> dict[str, Any]:
        """Return how many frames were read and what was seen in them, ready for JSON."""
        return {
            "loaded": self.loaded,
            "of": len(self.burst.frames),
            "graphs": {"light": self.light, "shake_px": self.shake},
            "left_out": {str(place + 1): why for place, why in self.left_out().items()},
            "looking": self.looking,
            "ready": self.is_ready,
            "error": self.fault,
        }

    def check_open(self) -> None:
        """Return if the burst is still open."""
        if self._stopped.is_set():
            raise ClosedError

    def _work(self) -> None:
        """Read the frames, then look for holdings as they are wanted, until closed."""
        try:
            self._read()
            self.plain.prepare()
            self.light = light_stops(self.plain.coarse.burst, self.plain.coarse.frames)
            with self._turn:
                # sought already, before anybody asks
                self._views |= dict.fromkeys(map(holding_key, (_USUAL, _KEEPING)))
            self._settle(_USUAL)
            if self._views.get(holding_key(_KEEPING)) is None:
                self._settle(_KEEPING)
            while (settings := self._next()) is not None:
                self._settle(settings)
        except ClosedError:
            return
        except Exception:
            self.fault = "reading the frames failed through a fault of the program"
            self.looking = False
            raise

    def _next(self) -> Settings | None:
        self.looking = not self._wanted.empty()
        return self._wanted.get()

    def _read(self) -> None:
        places = [p for p in range(len(self.burst.frames)) if p not in self.bad]

        def show(place: int, pixels: PixelArray) -> None:
            self.check_open()
            self.plain.put(place, pixels.copy())

        def fail(place: int, error: FrameError) -> None:
            self.bad[place] = error

        # not by way of the frames in memory: those of a clip are read one after the other
        whole = self.plain.fine.burst.unheld()
        Look(whole, worker_count(None)).at(places, show, fail)

    def _settle(self, settings: Settings) -> None:
        """Find out how frames are held, and keep that, or why they cannot be."""
        key = holding_key(settings)
        places = [p for p in range(len(self.burst.frames)) if p not in self.bad]
        wanted = replace(for_reduced(_everything(settings), self.factor), on_bad="skip")
        progress = _Watched(self)
        found: View | StackerError
        try:
            holding = settled_holding(self.plain.fine.burst, places, wanted, progress)
            found = held_view(self.plain, holding, progress)
            found.prepare()
            if settings.hold is None:
                self.shake = shake_px(holding, places, len(self.burst.frames), self.factor)
        except StackerError as error:
            found = error
        with self._turn:
            if isinstance(found, View) and found.fine is not self.plain.fine:
                self._forget_moved()
                # frames that moved are held alike whatever the blend
                self._views[(*key[:-1], not key[-1])] = found
            self._views[key] = found
            while len(self._views) > MOST_VIEWS:
                self._views.popitem(last=False)

    def _forget_moved(self) -> None:
        """Let go of the views that have copies of all frames, but for the latest."""
        moved = {
            id(view): view
            for view in self._views.values()
            if isinstance(view, View) and view.fine is not self.plain.fine
        }
        for number in list(moved)[: len(moved) - MOST_MOVED + 1]:
            for key in [key for key, view in self._views.items() if id(view) == number]:
                del self._views[key]


def key_of(path: Path) -> str:
    """Return the short key of the burst at a path."""
    return sha256(os.fsencode(path)).hexdigest()[:12]


def _stamps(paths: Collection[Path]) -> tuple[object, ...]:
    """Return what changes when a file does."""
    stamps: list[object] = []
    for path in sorted(paths):
        try:
            found = path.stat()
            stamps.append((path, found.st_mtime_ns, found.st_size))
        except OSError:
            stamps.append((path, None, None))
    return tuple(stamps)


class _Watched:
    """A progress that ends the work where the burst was closed."""

    def __init__(self, opened: Opened) -> None:
        self.opened = opened

    def start(self, stage: str, total: int) -> None:
        """Begin a stage."""
        self.opened.check_open()

    def advance(self) -> None:
        """One more step is done."""
        self.opened.check_open()


# frames that are odd in light are left out of the first, and kept by the second
_USUAL, _KEEPING = Settings(), Settings(blends=("lighten",))


def _everything(settings: Settings) -> Settings:
    """Return the settings of a holding over the whole burst."""
    return Settings(
        blends=settings.blends,
        hold=settings.hold,
        reference=settings.reference,
        crop=settings.crop,
        box=settings.box,
        subject=settings.subject,
    )


def open_place(served: Served, place: object, opening: Mapping[str, Any] | None = None) -> Opened:
    """Return a burst, its frames still to be read.

    Raises
    ------
    StackerError
        There is none, or it cannot be opened.
    """
    path = served.path_of(place)
    return Opened(str(place), path, open_burst(path, **(opening or {})))
