"""How long work tells where it stands."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called from the thread that started the work and from its workers."""

    def start(self, stage: str, total: int) -> None:
        """Begin a stage of so many steps; ``stage`` is a word or two for a person."""

    def advance(self) -> None:
        """One more step of the stage is done."""


class Silent:
    """A progress that tells nobody."""

    def start(self, stage: str, total: int) -> None:
        """Begin a stage."""

    def advance(self) -> None:
        """One more step is done."""
