"""What is done to the light of each frame before frames add up."""

from __future__ import annotations

from typing import Protocol

from stacker.light.encoding import LightArray


class Correction(Protocol):
    """A change of one frame's light; the same for the same frame whenever it is asked for.

    Several threads call it at once, each with a frame of its own.
    """

    def __call__(self, light: LightArray, index: int) -> None:
        """Change a frame in place.

        Parameters
        ----------
        light : float32 (H, W, 3), upright.
        index : the frame's place in the burst.
        """
