"""The streak of something that passed before the sky in one frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Float64Array = npt.NDArray[np.float64]
Kind = Literal["plane", "meteor"]


@dataclass(frozen=True, eq=False)
class PassingStreak:
    """Light of something that passed in one frame.

    Parameters
    ----------
    line : (n, 2) its middle from one end to the other, in pixels of the whole frame.
    half_width_px : how far to either side of it there is light.
    kind : ``plane`` for whatever crosses (planes, satellites), ``meteor`` for what shone up and
        went out within one frame.
    passage : which passage it belongs to, the same number in all frames that it crosses.
    """

    line: Float64Array
    half_width_px: float
    kind: Kind = "plane"
    passage: int = -1

    @property
    def length_px(self) -> float:
        """How long it is."""
        return float(np.linalg.norm(np.diff(self.line, axis=0), axis=1).sum())

    @property
    def ends(self) -> Float64Array:
        """Both ends, (2, 2) px."""
        return self.line[[0, -1]]

    def outward(self, end: int) -> Float64Array:
        """Return the unit vector (2,) that leads out of an end, 0 or 1."""
        line = self.line if end else self.line[::-1]
        way = line[-1] - line[max(0, len(line) - 4)]
        return np.asarray(way / max(float(np.linalg.norm(way)), 1e-9))
