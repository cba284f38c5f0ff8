"""From what a user names (folders, files, patterns) to the files that hold frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from glob import has_magic
from os import PathLike, fspath
from pathlib import Path

from stacker.burst.readers.registry import Kind, kind_of_content, kind_of_suffix
from stacker.errors import BurstError, FrameError

Source = str | PathLike[str]
UNFINISHED = ".part"


@dataclass(frozen=True)
class SourceFile:
    """One file of a burst: how to read it, or why it cannot be read.

    ``kind`` is None only beside a ``problem``; ``note`` is what a person should know; ``named``
    is whether the user named this very file.
    """

    path: Path
    kind: Kind | None
    problem: FrameError | None = None
    note: str = ""
    named: bool = False


@dataclass(frozen=True)
class Sources:
    """The files found, the names of those passed over, and whether some were named twice."""

    files: tuple[SourceFile, ...]
    passed_over: tuple[str, ...]
    doubled: int


def find_sources(source: Source | Sequence[Source]) -> Sources:
    """Return the files that hold the frames of a burst.

    Parameters
    ----------
    source : a folder (looked into, not below), a file, a pattern such as ``"IMG_*.jpg"``, or
        several of those.

    Raises
    ------
    BurstError
        Nothing there, a pattern that fits nothing, a folder without pictures, or a file that is
        no picture.
    """
    named = [source] if isinstance(source, str | PathLike) else list(source)
    if not named:
        raise BurstError(
            "burst", "no file is named", remedy="name a folder, files or a clip", code="no-source"
        )
    files: list[SourceFile] = []
    passed_over: list[str] = []
    for each in named:
        found, over = _files_of(each)
        files.extend(found)
        passed_over.extend(over)
    kept: dict[Path, SourceFile] = {}
    for file in files:
        kept.setdefault(file.path.resolve(), file)
    return Sources(tuple(kept.values()), tuple(passed_over), len(files) - len(kept))


def _files_of(source: Source) -> tuple[list[SourceFile], list[str]]:
    """Return the files that one name stands for, and the names passed over."""
    text = fspath(source)
    if not text:
        raise BurstError(
            "burst", "an empty name", remedy="name a folder, files or a clip", code="no-source"
        )
    try:
        return _files_at(Path(source), text)
    except OSError as error:
        why = f"it cannot be looked at ({error.strerror})"
        raise BurstError(
            text, why, remedy="check the name and that you may read it", code="no-such-file"
        ) from error


def _files_at(path: Path, text: str) -> tuple[list[SourceFile], list[str]]:
    if path.is_dir():
        return _files_in_folder(path)
    if path.exists():
        return [replace(_named_file(path), named=True)], []
    if not has_magic(text):
        raise BurstError(
            text, "there is no such file", remedy="check the name", code="no-such-file"
        )
    # brackets in the name of a folder that is there are part of its name
    folder = path.parent if path.parent.is_dir() else Path(path.anchor)
    matches = sorted(folder.glob(str(path.relative_to(folder))))
    if matches:
        return _files_of_pattern(text, matches)
    remedy = "check the folder's name and the pattern; [[] stands for a bracket"
    raise BurstError(text, "no file fits this pattern", remedy=remedy, code="no-match")


def _files_in_folder(folder: Path) -> tuple[list[SourceFile], list[str]]:
    try:
        paths = sorted(path for path in folder.iterdir() if path.is_file())
    except OSError as error:
        why = f"the folder cannot be read ({error.strerror})"
        raise BurstError(
            folder, why, remedy="check that you may read it", code="folder-unreadable"
        ) from error
    files, passed_over = _sorted_out(paths)
    if not files:
        others = f", only {len(passed_over)} other file" if passed_over else ""
        others += "s" if len(passed_over) > 1 else ""
        raise BurstError(
            folder,
            f"the folder has no pictures in it{others}",
            remedy="name the folder that holds the frames",
            code="no-frames",
        )
    return files, passed_over


def _files_of_pattern(pattern: str, paths: list[Path]) -> tuple[list[SourceFile], list[str]]:
    files, passed_over = _sorted_out([path for path in paths if path.is_file()])
    if not files:
        raise BurstError(
            pattern,
            "no picture fits this pattern",
            remedy="check the ending of the names",
            code="no-frames",
        )
    return files, passed_over


def _sorted_out(paths: list[Path]) -> tuple[list[SourceFile], list[str]]:
    """Return the pictures among files, and the names of the others.

    Hidden and unfinished files are left out without a word. A file without a suffix is a
    picture if its content is one; one with a foreign suffix is none, whatever it holds:
    cameras and programs leave previews and backups under such names.
    """
    files, passed_over = [], []
    for path in paths:
        if path.name.startswith(".") or path.name.lower().endswith(UNFINISHED):
            continue
        if kind_of_suffix(path) is None and (path.suffix or _content(path)[0] is None):
            passed_over.append(path.name)
        else:
            files.append(_recognised(path))
    return files, passed_over


def _named_file(path: Path) -> SourceFile:
    """Return a file that the user named: by its content, whatever its suffix."""
    if not path.is_file():
        raise BurstError(
            path, "it is no ordinary file", remedy="name a file or a folder", code="not-a-picture"
        )
    file = _recognised(path)
    if file.kind is None and kind_of_suffix(path) is None and file.problem is not None:
        raise BurstError(
            path,
            "this is no picture and no clip that can be read",
            remedy="name JPEG, TIFF, PNG or raw files, a clip or a folder of them",
            code="not-a-picture",
        )
    return file


def _content(path: Path) -> tuple[Kind | None, FrameError | None]:
    """Return the kind that the content shows, or the error of a file that cannot be opened."""
    try:
        return kind_of_content(path), None
    except OSError as error:
        why = f"it cannot be opened ({error.strerror})"
        remedy = "check that you may read it"
        return None, FrameError(path, why, remedy=remedy, code="frame-unreadable")


def _recognised(path: Path) -> SourceFile:
    """Return a file with its kind, from content first and suffix second."""
    kind, problem = _content(path)
    named = kind_of_suffix(path)
    if problem is not None:
        return SourceFile(path, None, problem)
    if kind is None:
        return SourceFile(path, None, _nothing_in_it(path))
    if named is None or named is kind:
        return SourceFile(path, kind)
    return SourceFile(
        path, kind, note=f"named as {named.name} but {kind.name} by content; read as that"
    )


def _nothing_in_it(path: Path) -> FrameError:
    """Return the error for a file whose content is no picture."""
    try:
        empty = path.stat().st_size == 0
    except OSError:
        empty = False
    why = "the file is empty" if empty else "it is not the picture that its name says"
    remedy = "copy it from the card again"
    return FrameError(path, why, remedy=remedy, code="frame-empty" if empty else "frame-unreadable")
