"""Work that goes on while one looks at something else: one piece at a time, the others wait."""

from __future__ import annotations

import secrets
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any, Literal

from stacker.errors import StackerError
from stacker.page.answers import FAULT, PageError

State = Literal["waiting", "running", "done", "failed", "cancelled"]
# jobs that may wait, and finished ones that are still told about
MOST_WAITING, MOST_TOLD = 20, 100
# steps from which on the time left can be told
STEPS_TO_TELL = 3


class CancelledError(Exception):
    """The work is no longer wanted: raised within it, by its progress."""


@dataclass(frozen=True)
class Outcome:
    """What a job leaves: the name of the file, and sentences."""

    output: str | None = None
    warnings: Iterable[str] = ()


@dataclass(eq=False)
class Job:
    """One piece of work. As a ``Progress`` it is told by the engine where it stands."""

    what: str
    work: Callable[[Job], Outcome]
    name: str = field(default_factory=lambda: secrets.token_hex(6))
    state: State = "waiting"
    stage: str = ""
    done: int = 0
    of: int = 0
    error: str | None = None
    code: str | None = None
    outcome: Outcome = field(default_factory=Outcome)
    _stage_began: float = 0.0
    _stop: threading.Event = field(default_factory=threading.Event)
    _turn: threading.Lock = field(default_factory=threading.Lock)

    def start(self, stage: str, total: int) -> None:
        """Begin a stage of so many steps; the end of the work if it was cancelled."""
        self.check()
        with self._turn:
            self.stage, self.done, self.of = stage, 0, total
            self._stage_began = time.monotonic()

    def advance(self) -> None:
        """One more step is done; the end of the work if it was cancelled.

        Raised in a worker of the engine, it stops the pass between two frames.
        """
        self.check()
        with self._turn:
            self.done += 1

    def check(self) -> None:
        """Return if the work is still wanted."""
        if self._stop.is_set():
            raise CancelledError

    def cancel(self) -> None:
        """Have the work stopped before its next frame."""
        self._stop.set()
        if self.state == "waiting":
            self.state = "cancelled"
        elif self.state == "running":
            self.stage = "stopping"

    def run(self) -> None:
        """Do the work, unless it was cancelled while it waited."""
        if self._stop.is_set():
            self.state = "cancelled"
            return
        self.state = "running"
        try:
            self.outcome = self.work(self)
            self.state = "done"
        except CancelledError:
            self.state = "cancelled"
        except StackerError as error:
            self.error, self.code = str(error), error.code
            self.state = "failed"
        except BaseException:
            self.error, self.code = FAULT, "fault"
            self.state = "failed"
            raise

    def told(self) -> dict[str, Any]:
        """Return where it stands, ready for JSON."""
        return {
            "id": self.name,
            "state": self.state,
            "what": self.what,
            "stage": self.stage,
            "done": self.done,
            "of": self.of,
            "left_s": self._left_s(),
            "error": self.error,
            "code": self.code,
            "output": self.outcome.output,
            "warnings": list(self.outcome.warnings),
        }

    def _left_s(self) -> float | None:
        """Return the time left of this stage, by how long its steps took so far."""
        with self._turn:
            if self.state != "running" or self.done < STEPS_TO_TELL:
                return None
            taken_s = time.monotonic() - self._stage_began
            return round(taken_s / self.done * max(0, self.of - self.done), 1)


class Jobs:
    """The jobs of one server, done by one thread in the order in which they came."""

    def __init__(self) -> None:
        self._jobs: dict[str, Job] = {}
        self._waiting: deque[Job] = deque()
        self._changed = threading.Condition()
        self._closed = False
        self._thread: threading.Thread | None = None

    def add(self, what: str, work: Callable[[Job], Outcome]) -> Job:
        """Return a job that will be done when its turn comes.

        Raises
        ------
        PageError
            Too many wait already.
        """
        job = Job(what, work)
        with self._changed:
            if len(self._waiting) >= MOST_WAITING:
                raise PageError(
                    what,
                    f"{MOST_WAITING} jobs wait already",
                    remedy="cancel one, or wait",
                    code="busy",
                )
            self._forget_oldest()
            self._jobs[job.name] = job
            self._waiting.append(job)
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="jobs", daemon=True)
                self._thread.start()
            self._changed.notify()
        return job

    def find(self, name: str) -> Job:
        """Return the job of that name.

        Raises
        ------
        PageError
            There is none.
        """
        if name not in self._jobs:
            raise PageError(
                f"job {name[:40]}",
                "there is none of that name",
                remedy="load the page again",
                code="no-such-job",
            )
        return self._jobs[name]

    def told(self) -> list[dict[str, Any]]:
        """Return where all of them stand, the latest first."""
        return [job.told() for job in reversed(list(self._jobs.values()))]

    def close(self) -> None:
        """Cancel everything and wait for what is running to stop."""
        with self._changed:
            self._closed = True
            for job in self._jobs.values():
                job.cancel()
            self._changed.notify()
        if self._thread is not None:
            self._thread.join()

    def _forget_oldest(self) -> None:
        finished = [job for job in self._jobs.values() if job.state not in ("waiting", "running")]
        for job in finished[: max(0, len(self._jobs) - MOST_TOLD + 1)]:
            del self._jobs[job.name]

    def _run(self) -> None:
        while True:
            with self._changed:
                self._changed.wait_for(lambda: self._waiting or self._closed)
                if self._closed:
                    return
                job = self._waiting.popleft()
            try:
                job.run()
            except Exception:
                # a fault of ours: told where the program was started, and the next job goes on
                import traceback

                traceback.print_exc()
