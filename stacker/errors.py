"""The errors a person can cause or meet, as one tree.

    StackerError
    ├── BurstError      the burst as a whole: nothing found, two bursts in one folder
    ├── FrameError      one frame: unreadable, cut short, another size (may be skipped)
    ├── OptionError     a setting that makes no sense: unknown blend, span beyond the end
    └── OutputError     the result cannot be put where it was asked for

Each carries where it happened, why, what to try, and a stable code. Its text is one sentence that
can be shown as it is; programs look at ``code`` and the class, never at the text.
"""

from __future__ import annotations

from pathlib import Path


class StackerError(Exception):
    """Base of every error that is the input's or the options' doing, not a fault of the program.

    Parameters
    ----------
    where : the file, folder or option concerned, as the user knows it.
    why : what is wrong, a clause without a full stop.
    remedy : what to do about it, a clause without a full stop.
    code : short stable name, such as ``"frame-truncated"``.
    """

    def __init__(self, where: str | Path, why: str, *, remedy: str = "", code: str) -> None:
        self.where = str(where)
        self.why = why
        self.remedy = remedy
        self.code = code
        super().__init__(self.where, why, remedy, code)

    def __str__(self) -> str:
        sentence = f"{self.where}: {self.why}"
        sentence = f"{sentence}; {self.remedy}." if self.remedy else f"{sentence}."
        # a file's name may hold anything: a sentence stays on one line all the same
        return "".join(sign if sign.isprintable() else ascii(sign)[1:-1] for sign in sentence)

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.where, self.why, self.remedy, self.code)


def _rebuild(
    kind: type[StackerError], where: str, why: str, remedy: str, code: str
) -> StackerError:
    """Make an error again on the other side of a process boundary."""
    return kind(where, why, remedy=remedy, code=code)


class BurstError(StackerError):
    """The burst as a whole cannot be used."""


class FrameError(StackerError):
    """One frame cannot be used; the rest of the burst may be."""


class OptionError(StackerError):
    """A setting is unknown, impossible or contradicts another."""


class OutputError(StackerError):
    """The result cannot be written where it was asked for."""
