"""What every blend and every accumulator can do, and the laws they keep.

For any frames, the accumulators of a blend satisfy, bit for bit:

- an accumulator to which nothing was added is neutral in a merge;
- any split of the frames over accumulators, any order of adding and any tree of merges gives
  the same picture (within the promise of ``Intake.ordered`` where it was made);
- arrays handed in are never changed, and ``result`` can be asked for again and again;
- accumulators pickle.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, Protocol, Self

import numpy as np
import numpy.typing as npt

from stacker.blend.intake import Intake
from stacker.light.encoding import Picture, PixelArray

ValidMask = npt.NDArray[np.bool_]


class Finishing(Protocol):
    """Something that gives a piece of the finished picture when asked."""

    def result(self) -> Picture:
        """Return the piece."""


class Accumulator(ABC):
    """The state of one blend over a piece of the picture: ``rows`` rows of full width."""

    def __init__(self, intake: Intake, rows: int, width: int) -> None:
        self.intake = intake
        self.shape = (rows, width, 3)

    @abstractmethod
    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame.

        Parameters
        ----------
        pixels : (rows, width, 3) in the intake's encoding; not changed.
        index : the frame's place in the burst; picks its weight.
        valid : bool (rows, width), False where the frame has nothing to say; all, if None.
        """

    @abstractmethod
    def merge(self, other: Self) -> None:
        """Take in what another accumulator of the same blend and intake has gathered."""

    @abstractmethod
    def result(self) -> Picture:
        """Return the blended picture; black where no frame had anything to say."""


@dataclass(frozen=True)
class Blend(ABC):
    """A description of how frames add up; carried out by its accumulators."""

    name: ClassVar[str]
    summary: ClassVar[str]

    @abstractmethod
    def start(self, intake: Intake, rows: int, width: int) -> Accumulator:
        """Return an empty accumulator for a piece of the picture."""

    @abstractmethod
    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""

    @property
    def running(self) -> bool:
        """Whether a result asked for half-way is that of the frames added until then."""
        return True

    @property
    def whole(self) -> bool:
        """Whether a piece's result hangs on the other pieces: see ``settle``."""
        return False

    def settle(self, pieces: Sequence[Accumulator]) -> Sequence[Finishing]:
        """Return the pieces of a whole picture, from top to bottom, ready to be finished.

        Asked for once all frames are in, where a piece's result hangs on the others.
        """
        return pieces

    def brightest_frame(self, intake: Intake) -> float:
        """Return the light above which a frame cannot be blended."""
        return math.inf

    def depends_on(self, intake: Intake) -> object:
        """Return what of the intake, besides its frames, changes the result in the last digits.

        Where a frame turns out to be bad and this comes out otherwise without it, the pass has
        to be run again for the result to be that of the other frames alone.
        """
        return None

    def brightest(self, intake: Intake) -> float:
        """Return the greatest light that frames within [0, 1] can blend to."""
        return 1.0
