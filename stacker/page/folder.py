"""The folder that is served, and the one that results go to: nothing else is read or written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from stacker.burst import is_own_result
from stacker.burst.readers.registry import kind_of_suffix
from stacker.page.answers import PageError

# how far below the served folder bursts are looked for, and how many are listed
DEPTH = 3
MOST_LISTED = 500
# files looked at in a folder to tell how many pictures are in it
MOST_COUNTED = 100_000
# folders of the output folder whose bursts can be opened too: what was dropped, and the demo
DROPPED, DEMO = "dropped", "kestrel-point"
OWN = "+"


@dataclass(frozen=True)
class Listed:
    """A burst that can be opened: its place below the served folder, its name, its pictures.

    ``frames`` is None for a clip, which only tells when it is opened.
    """

    place: str
    name: str
    frames: int | None


@dataclass(frozen=True)
class Served:
    """What a person may see and make.

    Parameters
    ----------
    root : the served folder, resolved.
    output : the folder that results go to, resolved.
    recent : the place of the burst that was named, None where a folder of bursts was.
    """

    root: Path
    output: Path
    recent: str | None = None

    def bursts(self) -> list[Listed]:
        """Return the folders with pictures, and the clips, by name; at most ``MOST_LISTED``."""
        found = list(islice(_below(self.root, self.root, DEPTH), MOST_LISTED))
        for name in (DROPPED, DEMO):
            own = self.output / name
            if own.is_dir() and not own.is_symlink() and not own.is_relative_to(self.root):
                found += islice(_below(own, self.output, 1, before=OWN), MOST_LISTED)
        return found

    def path_of(self, place: object) -> Path:
        """Return where a burst lies.

        Raises
        ------
        PageError
            There is none, or it lies outside of the served folder, be it by way of a link.
        """
        if not isinstance(place, str) or "\0" in place:
            raise _nothing_at(str(place))
        base, below = self.root, place
        if place.startswith(OWN):
            base, below = self.output, place.removeprefix(OWN)
            if below.split("/")[0] not in (DROPPED, DEMO):
                raise _nothing_at(place)
        try:
            path = (base / below).resolve()
            there = path.is_relative_to(base) and path.exists()
        except (OSError, RuntimeError) as error:
            raise _nothing_at(place) from error
        if not there:
            raise _nothing_at(place)
        _refuse_links_out(path, base)
        return path

    def target(self, name: object, *, suffix: str | None = None) -> Path:
        """Return the path of a result of that name: in the output folder, nowhere else.

        Raises
        ------
        PageError
            It is no plain name of a file.
        """
        plain = isinstance(name, str) and name and name == Path(name).name
        if not plain or not str(name).isprintable() or str(name).startswith("."):
            raise PageError(
                str(name)[:100] or "the file",
                "this is no name for a file",
                remedy="give one without slashes, such as water.tif",
                code="bad-name",
            )
        path = self.output / str(name)
        if path.is_symlink() and not path.resolve().is_relative_to(self.output):
            raise PageError(
                str(name),
                "it is a link that leads out of the output folder",
                remedy="choose another name",
                code="bad-name",
            )
        return path


def _below(folder: Path, root: Path, depth: int, before: str = "") -> Iterator[Listed]:
    """Yield what can be opened in a folder and below it, links that lead out left aside."""

    def place_of(path: Path) -> str:
        return before + path.relative_to(root).as_posix()

    try:
        paths = sorted(folder.iterdir())
    except OSError:
        return
    seen = [path for path in paths if not path.name.startswith(".") and _is_inside(path, root)]
    kinds = {path: kind_of_suffix(path) for path in seen[:MOST_COUNTED]}
    files = {path: kind for path, kind in kinds.items() if kind is not None and path.is_file()}
    pictures = [path for path, kind in files.items() if not kind.moving]
    # a look at the first and the last tells a folder of results, whose pictures are no burst
    if pictures and not all(is_own_result(path) for path in (pictures[0], pictures[-1])):
        yield Listed(place_of(folder), folder.name, len(pictures))
    for path, kind in files.items():
        if kind.moving:
            yield Listed(place_of(path), path.name, None)
    if depth > 0:
        for path in seen:
            if path.is_dir() and not path.is_symlink():
                yield from _below(path, root, depth - 1, before)


def _refuse_links_out(path: Path, base: Path) -> None:
    """Refuse a burst among whose files is a link that leads out of the served folder."""
    if not path.is_dir():
        return
    try:
        for each in path.iterdir():
            if not _is_inside(each, base):
                raise PageError(
                    each.name,
                    "it is a link that leads out of the served folder",
                    remedy="serve a folder that holds the frames themselves",
                    code="link-outside",
                )
    except OSError as error:
        raise _nothing_at(path.name) from error


def _is_inside(path: Path, root: Path) -> bool:
    try:
        return not path.is_symlink() or path.resolve().is_relative_to(root)
    except (OSError, RuntimeError):
        return False


def _nothing_at(place: str) -> PageError:
    return PageError(
        place[:100] or "the burst",
        "there is no such burst below the served folder",
        remedy="choose one of the list",
        code="no-such-burst",
    )
