"""Putting a finished file in its place: whole or not at all, and never over a source.

The file is written under a hidden name beside the target, so that a reader of the target sees
the old file or the new one and an interrupted run leaves the old one as it was.
"""

from __future__ import annotations

import contextlib
import errno
import os
import secrets
import stat
from collections.abc import Collection, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any, cast

import numpy.typing as npt

from stacker.errors import OutputError
from stacker.finish.formats import format_of

# of the target's name in the hidden one: with the rest it stays below the usual 255 bytes
NAME_PART = 40

# what the system says, what it means, what to do about it
REASONS = {
    errno.ENOSPC: ("output-disk-full", "the disk is full", "free some space or write elsewhere"),
    errno.EDQUOT: (
        "output-disk-full",
        "the quota of disk space is used up",
        "free some space or write elsewhere",
    ),
    errno.EFBIG: (
        "output-too-large",
        "the disk cannot hold a file of this size",
        "write to another disk",
    ),
    errno.EIO: ("output-device", "the device failed while writing", "write to another disk"),
    errno.EROFS: ("output-not-writable", "the disk is read-only", "write elsewhere"),
    errno.EACCES: ("output-not-writable", "writing there is not allowed", "write elsewhere"),
    errno.EPERM: ("output-not-writable", "writing there is not allowed", "write elsewhere"),
    errno.ENOENT: ("output-no-folder", "its folder does not exist", "make the folder first"),
    errno.ENOTDIR: ("output-no-folder", "its folder is not a folder", "write elsewhere"),
    errno.ENAMETOOLONG: ("output-not-writable", "the name is too long", "choose a shorter one"),
}


class OutputFile:
    """A file being written whose troubles are told in terms of the target."""

    def __init__(self, target: Path, temporary: Path, descriptor: int) -> None:
        self.target = target
        self.temporary = temporary
        # unbuffered: pictures come in large pieces and a buffer would copy them
        self._stream = os.fdopen(descriptor, "wb", buffering=0)

    def write(self, data: bytes | memoryview | npt.NDArray[Any]) -> None:
        """Write all of ``data`` at the end of the file.

        Raises
        ------
        OutputError
            ``output-disk-full``, ``output-device`` or another code of ``REASONS``.
        """
        # any contiguous memory will do; the annotations of arrays do not say so yet
        rest = memoryview(cast(bytes, data)).cast("B")
        with _told(self.target):
            while rest:
                rest = rest[self._stream.write(rest) :]

    def told(self) -> AbstractContextManager[None]:
        """Return a context in which the system's errors are told in terms of the target.

        For what is written by others to the file ``temporary``.
        """
        return _told(self.target)

    def finish(self) -> None:
        """Have everything written on the disk and close the file."""
        with _told(self.target):
            os.fsync(self._stream.fileno())
            self._stream.close()

    def discard(self) -> None:
        """Close the file and remove it."""
        with contextlib.suppress(OSError):
            self._stream.close()
        with contextlib.suppress(OSError):
            self.temporary.unlink()


@contextmanager
def _told(target: Path) -> Iterator[None]:
    """Turn the system's errors into sentences about the target."""
    try:
        yield
    except OSError as error:
        unknown = ("output-failed", f"writing failed ({error.strerror or error})", "")
        code, why, remedy = REASONS.get(error.errno or 0, unknown)
        raise OutputError(target, why, remedy=remedy, code=code) from error


def check_target(target: Path, *, overwrite: bool = False, sources: Collection[Path] = ()) -> None:
    """Return if a picture may be written to ``target``; to be asked before the work begins.

    Raises
    ------
    OutputError
        ``output-suffix`` and what ``check_place`` raises.
    """
    format_of(target)
    check_place(target, overwrite=overwrite, sources=sources)


def check_place(target: Path, *, overwrite: bool = False, sources: Collection[Path] = ()) -> None:
    """Return if a file of any kind, a report for instance, may be written to ``target``.

    Raises
    ------
    OutputError
        ``output-is-source`` (not even with ``overwrite``), ``output-not-writable``,
        ``output-exists`` or ``output-no-folder``.
    """
    with _told(target):
        found = _status(target)
    _refuse_source(target, found, sources)
    if found is not None:
        _refuse_taken(target, found, overwrite)
    folder = _real_place(target).parent
    if not folder.is_dir():
        code, why, remedy = REASONS[errno.ENOTDIR if folder.exists() else errno.ENOENT]
        raise OutputError(target, why, remedy=remedy, code=code)
    # says yes to everything for root; what it misses is told when writing begins
    if not os.access(folder, os.W_OK | os.X_OK):
        code, why, remedy = REASONS[errno.EACCES]
        raise OutputError(target, why, remedy=remedy, code=code)


def _real_place(target: Path) -> Path:
    """Return where the file will lie: for a link, where it leads, so that the link stays."""
    return Path(os.path.realpath(target)) if target.is_symlink() else target


def _status(target: Path) -> os.stat_result | None:
    """Return what lies at the target, the end of a link where it leads somewhere."""
    for look in (os.stat, os.lstat):
        with contextlib.suppress(FileNotFoundError, NotADirectoryError):
            return look(target)
    return None


def _refuse_source(target: Path, found: os.stat_result | None, sources: Collection[Path]) -> None:
    name = os.path.realpath(target)
    for source in sources:
        same = os.path.abspath(source) in (name, os.path.abspath(target))  # noqa: PTH100
        if found is not None and not same:
            # by what lies there, so that links and other spellings are seen through
            with contextlib.suppress(OSError):
                same = os.path.samestat(found, os.stat(source))  # noqa: PTH116
        if same:
            raise OutputError(
                target,
                f"it is the source {source}, and sources are never written over",
                remedy="choose another name",
                code="output-is-source",
            )


def _refuse_taken(target: Path, found: os.stat_result, overwrite: bool) -> None:
    kinds = (stat.S_ISREG, stat.S_ISLNK)
    if not any(is_kind(found.st_mode) for is_kind in kinds):
        what = "a folder" if stat.S_ISDIR(found.st_mode) else "no ordinary file"
        raise OutputError(
            target, f"it is {what}", remedy="choose another name", code="output-not-writable"
        )
    if not overwrite:
        raise _exists(target)


def _exists(target: Path) -> OutputError:
    return OutputError(
        target,
        "it exists already",
        remedy="give --overwrite or choose another name",
        code="output-exists",
    )


@contextmanager
def place_file(
    target: Path, *, overwrite: bool = False, sources: Collection[Path] = ()
) -> Iterator[OutputFile]:
    """Yield a file to write to; when the block ends well it becomes ``target``, whole.

    If the block raises anything, an interrupt included, nothing is left of the new file and
    whatever was at the target stays.

    Raises
    ------
    OutputError
        What ``check_place`` and ``OutputFile.write`` raise; ``output-exists`` also if a file
        appeared at the target meanwhile and ``overwrite`` is not set.
    """
    check_place(target, overwrite=overwrite, sources=sources)
    place = _real_place(target)
    temporary = place.with_name(f".{place.name[:NAME_PART]}.{secrets.token_hex(8)}.part")
    file: OutputFile | None = None
    # from before the file is there: an interrupt may come between its making and its first use
    try:
        with _told(target):
            file = OutputFile(target, temporary, _create(temporary))
        yield file
        file.finish()
        with _told(target):
            if overwrite:
                _keep_mode(place, file.temporary)
                file.temporary.replace(place)
            else:
                _put_if_free(file.temporary, place)
            _sync_folder(place.parent)
    except BaseException:
        if file is not None:
            file.discard()
        else:
            with contextlib.suppress(OSError):
                temporary.unlink()
        raise


def _create(temporary: Path) -> int:
    """Create the hidden file; its rights are those the system gives to any new file."""
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    return os.open(temporary, flags, 0o666)


def _keep_mode(target: Path, temporary: Path) -> None:
    """Give the new file the rights of the one it replaces, where the system lets us."""
    with contextlib.suppress(OSError):
        temporary.chmod(stat.S_IMODE(target.stat().st_mode))


def _put_if_free(temporary: Path, target: Path) -> None:
    """Move the file to the target unless something is there, with no moment in between."""
    try:
        try:
            os.link(temporary, target)
        except FileExistsError:
            raise
        except OSError:
            # no second names on this disk: hold the place with an empty file of our own
            target.open("xb").close()
            _replace_own(temporary, target)
            return
    except FileExistsError as error:
        raise _exists(target) from error
    temporary.unlink()


def _replace_own(temporary: Path, target: Path) -> None:
    """Move the file over the empty one that holds its place; take that away if it fails."""
    try:
        temporary.replace(target)
    except BaseException:
        target.unlink()
        raise


def _sync_folder(folder: Path) -> None:
    """Have the folder's new entry on the disk, on systems where folders can be opened."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | getattr(os, "O_DIRECTORY", 0))
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)
