"""What every reader gives and takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Literal, Protocol, runtime_checkable

from stacker.burst.exif import ShotFacts
from stacker.errors import FrameError
from stacker.light.calibration import MosaicCalibration
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
    guesses : the same, where nothing sound says what the colours are.
    """

    size: tuple[int, int]
    encoding: Encoding
    shot: ShotFacts = field(default_factory=ShotFacts)
    exif: bytes | None = None
    offset_s: float | None = None
    notes: tuple[str, ...] = ()
    guesses: tuple[str, ...] = ()


class LostFramesError(FrameError):
    """A frame that cannot be had, and with it those that are made from it or lie behind it.

    Parameters
    ----------
    resumes : the number of the file's next sound frame, None where there is none.
    """

    def __init__(
        self,
        where: str | Path,
        why: str,
        *,
        remedy: str = "",
        code: str,
        resumes: int | None = None,
    ) -> None:
        super().__init__(where, why, remedy=remedy, code=code)
        self.resumes = resumes

    def __reduce__(self) -> tuple[object, ...]:
        again = partial(LostFramesError, remedy=self.remedy, code=self.code, resumes=self.resumes)
        return again, (self.where, self.why)


Highlights = Literal["clip", "blend"]


@dataclass(frozen=True)
class Development:
    """How the numbers of a sensor become light: one for all frames of a burst.

    Parameters
    ----------
    white_balance : factors of red, green, blue and the second green.
    black, white : the codes of no light and of the most light that the sensor tells apart.
    highlights : "clip" cuts every channel where the first of them is full; "blend" keeps what the
        others still tell, in a picture darker by the greatest factor over the least.
    calibration : what is done to the codes before; None for nothing.
    """

    white_balance: tuple[float, float, float, float]
    black: int
    white: int
    highlights: Highlights = "clip"
    # large, and no more needed to tell developments apart than the files it was made from
    calibration: MosaicCalibration | None = field(default=None, repr=False, compare=False)


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


@runtime_checkable
class ShrinkingReader(Reader, Protocol):
    """Reads a kind of file that can be decoded to a smaller copy in less time."""

    @property
    def factors(self) -> Sequence[int]:
        """By what a picture can be reduced."""

    def decode_small(self, path: Path, factor: int) -> PixelArray:
        """Return the numbers of the only frame averaged over cells, as stored.

        Parameters
        ----------
        factor : one of ``factors``. Cells at the right and lower edge may reach beyond it.

        Raises
        ------
        FrameError
            As ``decode``.
        """


class DevelopingReader(Reader, Protocol):
    """Reads a kind of file whose pixels depend on choices that all frames must share.

    ``open_burst`` asks for the development of the first sound frame and leaves it with every
    frame; each is decoded by what ``developing`` returns for it.
    """

    def development(self, path: Path) -> Development:
        """Return how the frame in a file wants to be developed.

        Raises
        ------
        FrameError
            As ``decode``.
        """

    def developing(self, development: Development) -> Reader:
        """Return a reader that develops every frame in one given way."""


def in_short(words: object) -> str:
    """Return what a library said in one line of bearable length."""
    line = " ".join(str(words).split())
    line = "".join(sign if sign.isprintable() else "?" for sign in line)
    return line if len(line) <= LONGEST_WORDS else f"{line[:LONGEST_WORDS]}..."


def refuse_absurd_size(
    path: Path, what: str, size: tuple[int, int], *, remedy: str = COPY_AGAIN
) -> None:
    """Refuse a picture without pixels, or with more than any frame has, before room is made for it.

    Parameters
    ----------
    what : the sort of file as a person would call it, such as "the PNG".
    size : (width, height) as the header says.

    Raises
    ------
    FrameError
        ``frame-too-large``.
    """
    if not 0 < size[0] * size[1] <= MAX_PIXELS:
        why = f"{what} claims to have {size[0]} x {size[1]} pixels"
        raise FrameError(path, why, remedy=remedy, code="frame-too-large")


def read_whole(path: Path) -> bytes:
    """Return the bytes of a file.

    Raises
    ------
    FrameError
        The system does not let us read it.
    """
    try:
        return path.read_bytes()
    except OSError as error:
        raise unopened(path, error) from error


def unopened(path: Path, error: OSError) -> FrameError:
    """Return the error for a file that the system does not let us read."""
    why = f"it cannot be opened ({error.strerror or error})"
    return FrameError(path, why, remedy="check that you may read it", code="frame-unreadable")
