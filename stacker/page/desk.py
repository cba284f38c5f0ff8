"""The desk: bursts that are open, jobs that run. One for each server."""

from __future__ import annotations

import threading
from collections import OrderedDict
from typing import Any

from stacker.page.answers import PageError
from stacker.page.folder import Served
from stacker.page.jobs import Jobs
from stacker.page.opened import Opened, open_place

# bursts that stay open: each may hold a gigabyte of frames
MOST_OPEN = 2


class Desk:
    """What one person works on."""

    def __init__(self, served: Served) -> None:
        self.served = served
        self.jobs = Jobs()
        self._open: OrderedDict[str, Opened] = OrderedDict()
        self._turn = threading.Lock()

    def open(self, place: object) -> dict[str, Any]:
        """Return what a burst is, having opened it unless it is open."""
        with self._turn:
            opened = open_place(self.served, place)
            if opened.key in self._open:
                opened = self._open[opened.key]
            else:
                opened.start()
                self._open[opened.key] = opened
            self._open.move_to_end(opened.key)
            while len(self._open) > MOST_OPEN:
                self._open.popitem(last=False)[1].close()
        return opened.told()

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

    def close(self) -> None:
        """End all that goes on."""
        self.jobs.close()
        for opened in self._open.values():
            opened.close()
