"""What every bridge has: a look at the whole burst first, then light for one gap after the other.

A bridge never changes frames. It makes patches of light for the gap between two neighbouring
frames, which whoever runs the pass lays into the picture: under a lighten they count as one more
frame and the greater light stays, under a mean they are added to the sum of the
frames, as these count in it, and may be negative where light moves on. Where nothing is known,
there is no patch.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal, Protocol

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray

# gives the light of the frame with this number among those used, from 0 on in order of time:
# float32 (H, W, 3), linear, all frames brought to one place; the array may be kept but not changed
LightOf = Callable[[int], LightArray]
Confidence = npt.NDArray[np.float32]
# how light joins a picture: the greater light stays, or light is added to that of the frame
Joins = Literal["greater", "added"]


@dataclass(frozen=True)
class Exposed:
    """When a frame was exposed: its start in seconds from the first, and its shutter."""

    start_s: float
    shutter_s: float

    @property
    def end_s(self) -> float:
        """When its shutter closed, in seconds."""
        return self.start_s + self.shutter_s


@dataclass(frozen=True, eq=False)
class Patch:
    """Light for a rectangle of the picture.

    Parameters
    ----------
    top, left : where its first pixel lies, in whole pixels.
    light : float32 (h, w, 3), linear. Under a lighten 0 where there is nothing to say.
    confidence : float32 (h, w), 0 to 1: how sure it is that light belongs there.
    """

    top: int
    left: int
    light: LightArray
    confidence: Confidence


@dataclass(frozen=True)
class GapVerdict:
    """Whether the gap after a frame can be bridged, and if not, why, in words."""

    bridged: bool
    why: str | None = None


class Bridge(Protocol):
    """What is known of a burst's moving light; made by a function that looked at all its frames.

    Small enough to be kept for a burst of any length, and handed to any thread.
    """

    joins: ClassVar[Joins]

    @property
    def gaps(self) -> Sequence[GapVerdict]:
        """What can be done for each gap: as many as frames, less one."""

    def between(self, number: int, earlier: LightArray, later: LightArray) -> list[Patch]:
        """Return the light that fell between the frames ``number`` and ``number + 1``.

        Parameters
        ----------
        number : of the earlier frame among those used, from 0 on.
        earlier, later : the light of both, float32 (H, W, 3), as ``LightOf`` gives it.
        """
