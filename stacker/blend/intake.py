"""What an accumulator may expect: the frames' encoding, their number and their weights."""

from __future__ import annotations

from dataclasses import dataclass

from stacker.light.encoding import Encoding


@dataclass(frozen=True)
class Intake:
    """The frames that will be added, known before the first of them.

    Parameters
    ----------
    encoding : what the numbers of every frame mean.
    weights : one per frame, 0 or more, by index. A frame of weight 0 is left out altogether.
    codes : of frames that come as light which was resampled from codes: what the codes mean.
    brightest : the greatest light that such a frame can hold.
    masked : whether frames may come with a mask of valid pixels.
    ordered : a promise that frames are added in rising order of their index and that merges
        join neighbouring spans, earlier into later; some blends then need less memory.
    """

    encoding: Encoding
    weights: tuple[float, ...]
    codes: Encoding | None = None
    brightest: float = 1.0
    masked: bool = False
    ordered: bool = False

    @property
    def count(self) -> int:
        """How many frames take part."""
        return sum(weight > 0 for weight in self.weights)

    @property
    def total_weight(self) -> float:
        """The sum of the weights."""
        return sum(self.weights)

    @property
    def plain(self) -> bool:
        """Whether every frame that takes part has weight 1."""
        return all(weight in (0.0, 1.0) for weight in self.weights)
