"""Work for an answer, given up where nobody waits for it any more."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request

from stacker.engine.progress import Progress
from stacker.page.answers import PageError
from stacker.page.jobs import CancelledError, Job, Outcome

Found = TypeVar("Found")
# how often one looks whether the browser still waits
LOOK_S = 0.1


@contextmanager
def turn(places: threading.Semaphore, progress: Progress) -> Iterator[None]:
    """Take one of a few places, having waited for it only as long as somebody wants the answer."""
    while not places.acquire(timeout=LOOK_S):
        progress.start("waiting", 1)
    try:
        progress.start("working", 1)
        yield
    finally:
        places.release()


async def while_wanted(request: Request, work: Callable[[Progress], Found]) -> Found:
    """Return what the work finds, done in a thread; stopped between frames if the browser leaves.

    Raises
    ------
    PageError
        It was given up.
    """
    # only its means to stop are wanted of the job
    stopping = Job("answer", lambda _: Outcome())
    task = asyncio.ensure_future(run_in_threadpool(work, stopping))
    try:
        while not task.done():
            await asyncio.wait({task}, timeout=LOOK_S)
            if not task.done() and await request.is_disconnected():
                stopping.cancel()
        return await task
    except CancelledError as error:
        raise PageError("the answer", "it was given up", code="given-up") from error
    finally:
        # the server may be ending while work goes on
        stopping.cancel()
