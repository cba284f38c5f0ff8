"""What every reader gives and takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from stacker.burst.exif import ShotFacts
from stacker.errors import FrameError
from stacker.light.encoding import Encoding, PixelArray

# more cannot be a frame of a burst: the file is damaged or means harm
MAX_PIXELS = 500_000_000
# libraries may say whole tables
LONGEST_WORDS = 120
# the code of an error after which a file holds no further frame
FILE_ENDS = "file-ends"
COPY_AGAIN = "copy it from the card again"


@dataclass(frozen=True)
class FrameFacts:
    """What a file's header says about one frame in it.

    Parameters
    ----------
    size : (width, height) in pixels as stored, before it is turned upright.
    encoding : what its numbers mean.
    shot : what its Exif says, or what stands in for it.
    exif : the raw Exif block, None where there is none.
    offset_s : seconds from the file's first frame, None where the file has no time of its own.
    notes : what a person should know, each a clause without a full stop.
    """

    size: tuple[int, int]
    encoding: Encoding
    shot: ShotFacts = field(default_factory=ShotFacts)
    exif: bytes | None = None
    offset_s: float | None = None
    notes: tuple[str, ...] = ()


class Reader(Protocol):
    """Reads one kind of file. Stateless: several threads use it at once."""

    def inspect(self, path: Path) -> list[FrameFacts]:
        """Return the facts of each frame in a file, from its headers alone.

        Raises
        ------
        FrameError
            The file is none of this kind, damaged, or of a sort that is not read.
        """

    def decode(
        self, path: Path, numbers: Sequence[int], *, out: PixelArray | None
    ) -> Iterator[tuple[int, PixelArray]]:
        """Yield (number, pixels (H, W, 3) as stored) for ascending numbers in a file.

        Parameters
        ----------
        out : an array of the stored shape and dtype which may be filled and yielded each time.

        Raises
        ------
        FrameError
            A frame is cut short or damaged; never is part of a picture given.
        """


def in_short(words: object) -> str:
    """Return what a library said in one line of bearable length."""
    line = " ".join(str(words).split())
    line = "".join(sign if sign.isprintable() else "?" for sign in line)
    return line if len(line) <= LONGEST_WORDS else f"{line[:LONGEST_WORDS]}..."


def unopened(path: Path, error: OSError) -> FrameError:
    """Return the error for a file that the system does not let us read."""
    why = f"it cannot be opened ({error.strerror or error})"
    return FrameError(path, why, remedy="check that you may read it", code="frame-unreadable")
