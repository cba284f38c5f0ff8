"""A progress bar on the terminal."""

from __future__ import annotations

from types import TracebackType

from rich.console import Console
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    TaskID,
    TextColumn,
    TimeElapsedColumn,
    TimeRemainingColumn,
)
from rich.progress import Progress as RichProgress


class Bar:
    """One line: what is being done, how far it is, the time taken and the time left."""

    def __init__(self) -> None:
        self._rich = RichProgress(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            TimeElapsedColumn(),
            TextColumn("left"),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
        )
        self._task: TaskID | None = None

    def __enter__(self) -> Bar:
        self._rich.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._rich.stop()

    def start(self, stage: str, total: int) -> None:
        """Begin a stage of so many steps."""
        if self._task is not None:
            self._rich.remove_task(self._task)
        self._task = self._rich.add_task(stage, total=total)

    def advance(self) -> None:
        """One more step of the stage is done."""
        if self._task is not None:
            self._rich.advance(self._task)
