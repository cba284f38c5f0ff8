"""Writing the masks that were found, to be changed by hand and given back."""

from __future__ import annotations

import errno
from collections.abc import Collection
from pathlib import Path

from stacker.blend.mixing import shares
from stacker.engine.region import NAMED_MASKS
from stacker.engine.shot import Shot
from stacker.errors import OutputError
from stacker.finish import check_grey, check_place, save_grey


def check_masks(folder: Path, *, overwrite: bool, sources: Collection[Path] = ()) -> None:
    """Return if masks may be written to a folder, which is made if it is not there.

    Raises
    ------
    OutputError
        One is there already, or the folder cannot be used.
    """
    if not folder.exists():
        check_place(folder)
        return
    for name in NAMED_MASKS:
        check_grey(folder / f"{name}.png", overwrite=overwrite, sources=sources)


def save_masks(shot: Shot, folder: str | Path, *, overwrite: bool = False) -> list[Path]:
    """Return the files, having written the masks that a shot was made with: gray, 16 bits, white
    what is meant.

    Parameters
    ----------
    folder : made if it is not there.
    overwrite : replace masks that are there; never one of the sources.

    Raises
    ------
    OutputError
        As ``check_masks``.
    """
    folder = Path(folder)
    check_masks(folder, overwrite=overwrite, sources=shot.sources)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        why = "is a file" if error.errno == errno.EEXIST else f"cannot be made ({error.strerror})"
        raise OutputError(
            folder, why, remedy="name another folder", code="output-no-folder"
        ) from error
    written = []
    for name, mask in shot.masks.items():
        target = folder / f"{name}.png"
        save_grey(target, shares(mask), overwrite=overwrite, sources=shot.sources)
        written.append(target)
    return written
