"""The kinds of file a result can be written as, known by their suffix."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from stacker.errors import OptionError, OutputError


@dataclass(frozen=True)
class FileFormat:
    """A kind of file: its name, and the bits per channel it can have, the usual one first."""

    name: str
    depths: tuple[int, ...]


TIFF = FileFormat("TIFF", (16, 32))
PNG = FileFormat("PNG", (16,))
JPEG = FileFormat("JPEG", (8,))

FORMATS = {".tif": TIFF, ".tiff": TIFF, ".png": PNG, ".jpg": JPEG, ".jpeg": JPEG}


def format_of(target: Path) -> FileFormat:
    """Return the kind of file that a target's suffix asks for, in capitals or not.

    Raises
    ------
    OutputError
        ``output-suffix``: there is no such suffix.
    """
    found = FORMATS.get(target.suffix.lower())
    if found is None:
        why = f"no picture is written with the suffix {target.suffix!r}"
        if not target.suffix:
            why = "the name has no suffix that says what kind of file is wanted"
        raise OutputError(
            target, why, remedy="use one of " + ", ".join(FORMATS), code="output-suffix"
        )
    return found


def depth_of(target: Path, depth: int | None) -> int:
    """Return the bits per channel to write: those asked for, or the usual ones of the suffix.

    Raises
    ------
    OptionError
        ``option-depth``: the kind of file cannot have that depth.
    OutputError
        ``output-suffix``: there is no such suffix.
    """
    file_format = format_of(target)
    if depth is None:
        return file_format.depths[0]
    if depth not in file_format.depths:
        able = " or ".join(str(d) for d in file_format.depths)
        raise OptionError(
            f"--depth {depth}",
            f"{target.name} can have {able} bits per channel",
            remedy="use --depth 16 or --depth 32 with .tif, or leave --depth out",
            code="option-depth",
        )
    return depth
