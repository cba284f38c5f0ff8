"""What is done to the light of each frame before frames add up."""

from __future__ import annotations

from typing import Protocol

from stacker.light.encoding import LightArray, PixelArray


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


class Retouch(Protocol):
    """Pixels that are replaced in single frames, after all that is done to their light.

    Several threads call it at once, each with a frame of its own.
    """

    def __call__(self, pixels: PixelArray, index: int) -> None:
        """Replace pixels of a frame in place.

        Parameters
        ----------
        pixels : (H, W, 3) in the burst's encoding, upright.
        index : the frame's place in the burst.
        """
