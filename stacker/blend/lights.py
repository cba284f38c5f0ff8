"""Lights over the mean: what shines keeps its trail, what only reflects fades away.

A lamp is many times brighter than the road it passes before; a car that the dusk lights is
brighter by less. The greatest light is therefore kept by how many stops it stands above the mean
of all frames, and only where it is clear of the noise: see ``noise_floor``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar, cast

import numpy as np

from stacker.blend.base import Accumulator, Blend, Finishing
from stacker.blend.intake import Intake
from stacker.blend.lighten import Lighten
from stacker.blend.noise_floor import BLOCK_ROWS, FloorAccumulator, SettledPiece, settle
from stacker.light.encoding import LightArray

# stops above the mean from which and up to which the greatest light takes over; of the pairs tried
# on the coast road the best where cars have bodies (DEVELOPERS.md, "Subjects")
STOPS = (1.0, 3.0)
# light below this is none
DARKEST = np.float32(2.0**-20)


class LightsAccumulator(FloorAccumulator):
    """The greatest value of each channel, and the mean."""

    def result(self) -> LightArray:
        """Return the light of this piece by itself."""
        (finished,) = settle_lights([self])
        return finished.result()


class SettledLights(SettledPiece):
    """A piece of the picture with how much of its greatest light to keep."""

    def kept_of(self, light: LightArray, rows: slice, columns: slice) -> LightArray:
        """Return what stays of light from elsewhere, such as from gaps, over a part of the piece.

        Parameters
        ----------
        light : float32 (h, w, 3), 0 where there is none.
        """
        mean = self.accumulator.mean.light(rows)[:, columns]
        over = mean + (light - mean) * share_of_light(mean, light)[..., np.newaxis]
        return np.where(light.any(axis=2, keepdims=True), over, 0)


def settle_lights(pieces: Sequence[FloorAccumulator]) -> list[SettledLights]:
    """Return the pieces of a whole picture, from top to bottom, ready to be finished."""
    settled = [SettledLights(piece.accumulator, piece.kept) for piece in settle(pieces)]
    for piece in settled:
        for top in range(0, len(piece.kept), BLOCK_ROWS):
            rows = slice(top, top + BLOCK_ROWS)
            share = share_of_light(*piece.accumulator.light(rows))
            piece.kept[rows] = np.rint(piece.kept[rows] * share)
    return settled


def share_of_light(mean: LightArray, greatest: LightArray) -> LightArray:
    """Return how much of the greatest light to keep, float32 (h, W), 0 to 1.

    The brightest channel counts, so that a red lamp is no less a lamp.

    Parameters
    ----------
    mean, greatest : float32 (h, W, 3).
    """
    above = np.maximum(greatest.max(axis=2), DARKEST) / np.maximum(mean.max(axis=2), DARKEST)
    low, high = STOPS
    share = np.clip((np.log2(above) - np.float32(low)) / np.float32(high - low), 0, 1)
    # a smooth step: no edge where one hands over to the other
    return np.asarray(share * share * (3 - 2 * share), np.float32)


@dataclass(frozen=True)
class Lights(Blend):
    """The greatest light where it is that of a lamp, the mean elsewhere."""

    name: ClassVar[str] = "lights"
    summary: ClassVar[str] = "trails of lamps over the mean: cars fade, their lights stay"

    @property
    def whole(self) -> bool:
        """Whether a piece's result hangs on the other pieces: noise is learnt from all."""
        return True

    def start(self, intake: Intake, rows: int, width: int) -> Accumulator:
        """Return an empty accumulator for a piece of the picture."""
        return LightsAccumulator(intake, rows, width, fading=None)

    def settle(self, pieces: Sequence[Accumulator]) -> Sequence[Finishing]:
        """Return the pieces of a whole picture, ready to be finished."""
        return settle_lights(cast("Sequence[FloorAccumulator]", pieces))

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        return _GATHERS.row_bytes(intake, width)

    def brightest_frame(self, intake: Intake) -> float:
        """Return the light above which a frame cannot be blended."""
        return _GATHERS.brightest_frame(intake)

    def depends_on(self, intake: Intake) -> object:
        """Return the mean's grid."""
        return _GATHERS.depends_on(intake)


# what is gathered of the frames is the same
_GATHERS = Lighten(true_floor=True)
