"""Lighten: the greatest value of each channel, with a true noise floor or a tail if wished.

Source: W3C Compositing and Blending Level 1, clause 10.1.5.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, cast

import numpy as np

from stacker.blend.base import Accumulator, Blend, Finishing
from stacker.blend.extremes import ExtremeAccumulator
from stacker.blend.intake import Intake
from stacker.blend.light_sum import Mean
from stacker.blend.noise_floor import FINDING_PIXEL_BYTES, FloorAccumulator, settle


@dataclass(frozen=True)
class Lighten(Blend):
    """The greatest light of each channel.

    Parameters
    ----------
    true_floor : where the greatest value does not stand clear of the pixel's noise, the mean
        takes over.
    fading : a factor for the light of each frame, 0 to 1, by index; none fades if None.
    """

    name: ClassVar[str] = "lighten"
    summary: ClassVar[str] = "brightest value of each channel: light trails, star trails"

    true_floor: bool = False
    fading: tuple[float, ...] | None = None

    @property
    def whole(self) -> bool:
        """Whether a piece's result hangs on the other pieces."""
        return self.true_floor

    def start(self, intake: Intake, rows: int, width: int) -> Accumulator:
        """Return an empty accumulator for a piece of the picture."""
        if self.true_floor:
            return FloorAccumulator(intake, rows, width, fading=self.fading)
        return ExtremeAccumulator(intake, rows, width, greatest=True, fading=self.fading)

    def settle(self, pieces: Sequence[Accumulator]) -> Sequence[Finishing]:
        """Return the pieces of a whole picture, ready to be finished."""
        if not self.true_floor:
            return pieces
        return settle(cast("Sequence[FloorAccumulator]", pieces))

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        plain = intake.plain and self.fading is None
        dtype = np.dtype(intake.encoding.stored if plain else "float32")
        row = width * 3 * dtype.itemsize
        if self.true_floor:
            row += Mean().row_bytes(intake, width) + width * FINDING_PIXEL_BYTES
        return row

    def brightest_frame(self, intake: Intake) -> float:
        """Return the light above which a frame cannot be blended."""
        return (
            Mean().brightest_frame(intake) if self.true_floor else super().brightest_frame(intake)
        )

    def depends_on(self, intake: Intake) -> object:
        """Return the fading, which hangs on the first and last frame, and the mean's grid."""
        return self.fading, Mean().depends_on(intake) if self.true_floor else None
