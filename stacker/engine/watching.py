"""Watching frames while they add up: parts of each are held against a few looked at before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stacker.burst import Burst
from stacker.light.encoding import LightArray, PixelArray, decode
from stacker.light.reduce import reduce_codes
from stacker.register import Watch
from stacker.register.geometry import Points


class Watcher:
    """Is shown every frame of a pass, and knows afterwards which of them are to be doubted.

    Parameters
    ----------
    factor : by which the copies are reduced.
    sample : places of the frames looked at before, ``copies`` their reduced light.
    still : (P, 2), what pins them down, pixels of a copy.
    """

    def __init__(
        self,
        burst: Burst,
        factor: int,
        sample: Sequence[int],
        copies: Sequence[LightArray],
        still: Points,
    ) -> None:
        self.burst = burst
        self.factor = factor
        # the frame that all others stood still to
        self.reference = sample[len(sample) // 2]
        self._watch = Watch(copies, still, burst.encoding.space.luminance_weights)

    @property
    def can_tell(self) -> bool:
        """Whether there is enough to tell frames by."""
        return self._watch.can_tell

    def __call__(self, place: int, pixels: PixelArray) -> None:
        """Look at one frame as it was decoded."""
        f = self.factor
        parts = [reduce_codes(pixels[f * s.start : f * s.stop], f) for s in self._watch.strips]
        self._watch.see(place, decode(np.vstack(parts), self.burst.encoding))

    def doubtful(self) -> list[int]:
        """Return the places of the frames that do not look like the rest."""
        return self._watch.doubtful()
