"""The desk: bursts that are open, jobs that run. One for each server."""

from __future__ import annotations

import shutil
import threading
from collections import OrderedDict
from typing import Any

from stacker.page.answers import PageError
from stacker.page.folder import DEMO, OWN, Served
from stacker.page.jobs import Job, Jobs, Outcome
from stacker.page.opened import Opened, key_of, open_place
from stacker.page.session import read_session

# what the frames of open bursts may take together; the one looked at last stays in any case
HELD_BYTES = 900 * 10**6


class Desk:
    """What one person works on."""

    def __init__(self, served: Served) -> None:
        self.served = served
        self.jobs = Jobs()
        self._open: OrderedDict[str, Opened] = OrderedDict()
        self._turn = threading.Lock()

    def open(self, place: object) -> dict[str, Any]:
        """Return what a burst is and what was chosen for it, having opened it unless it is open."""
        with self._turn:
            opened = self._known_or_opened(place)
            self._open[opened.key] = opened
            self._open.move_to_end(opened.key)
            self._close_oldest()
        session = read_session(self.served, opened)
        if not session["settings"] and opened.bad:
            session["settings"] = {"on_bad": "skip"}
        return {**opened.told(), **session}

    def _known_or_opened(self, place: object) -> Opened:
        """Return a burst that is open and whose files are unchanged, or one opened anew."""
        path = self.served.path_of(place)
        known = self._open.get(key_of(path))
        if known is not None and known.is_untouched():
            return known
        opened = open_place(self.served, place)
        if known is not None:
            # something else may have changed in the folder, such as a result that was written
            if known.is_same_as(opened):
                return known
            known.close()
        opened.start()
        return opened

    def find(self, key: str) -> Opened:
        """Return the open burst of that key.

        Raises
        ------
        PageError
            It is not open.
        """
        opened = self._open.get(key)
        if opened is None:
            raise PageError(
                f"burst {key[:40]}",
                "it is not open any more",
                remedy="open it again",
                code="no-such-burst",
            )
        return opened

    def make_demo(self) -> Job:
        """Return the job that renders the demo's bursts into the output folder."""
        from stacker.demo import make_demo

        folder = self.served.output / DEMO
        if folder.exists():
            raise PageError(
                DEMO,
                "the demo is there already",
                remedy="open one of its bursts",
                code="file-exists",
            )

        def work(job: Job) -> Outcome:
            try:
                made = list(make_demo(folder, progress=job))
            except BaseException:
                # it was not there before: half a demo is none
                shutil.rmtree(folder, ignore_errors=True)
                raise
            warnings = [
                f"{each.picture.title}: likeness to the truth {each.psnr_db:.1f} dB"
                for each in made
            ]
            return Outcome(OWN + DEMO, warnings)

        return self.jobs.add("the demo bursts of Kestrel Point", work)

    def close(self) -> None:
        """End all that goes on."""
        self.jobs.close()
        for opened in self._open.values():
            opened.close()

    def _close_oldest(self) -> None:
        while len(self._open) > 1 and sum(o.held_bytes for o in self._open.values()) > HELD_BYTES:
            self._open.popitem(last=False)[1].close()
