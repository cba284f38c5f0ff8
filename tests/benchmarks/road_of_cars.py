"""The coast road with cars that have bodies: painted sheets lit by the dusk, beside their lamps.

Kestrel Point's own cars are lamps alone. Here each has a back or a front of one of five paints,
which hides the road; the truth stays that of the road without bodies.
"""

from __future__ import annotations

import cv2
import numpy as np

from stacker.scenes.road import NEAREST_M, Road
from stacker.scenes.roadside import HALF_ROAD_M, ROAD_ENDS_M, road_centre
from stacker.scenes.scene import Light, View, time_cells

# light of a white sheet on the road: ten times the asphalt's
WHITE = np.array([0.28, 0.29, 0.33])
PAINTS = np.array(
    [[0.8, 0.8, 0.8], [0.4, 0.4, 0.42], [0.05, 0.05, 0.05], [0.45, 0.05, 0.04], [0.05, 0.12, 0.4]]
)
HALF_WIDE_M, LOW_M, HIGH_M = 0.85, 0.2, 1.4
CELL_S = 1 / 24
# corners are given to OpenCV in sixteenths of a pixel
SUBPIXEL_BITS = 4


class RoadOfCars(Road):
    """The road, with bodies."""

    def __init__(self, view: View) -> None:
        super().__init__(view)
        self._paint = PAINTS[self.view.rng("paint").integers(0, len(PAINTS), self._speed.size)]

    def light(self, t0: float, t1: float) -> Light:
        """Return the light of the road with lamps and bodies."""
        light = super().light(t0, t1)
        hidden = np.zeros((*light.shape[:2], 1), np.float32)
        painted = np.zeros_like(light)
        cells = time_cells(t0, t1, CELL_S)
        for middle_s, share in zip(cells.middle_s, cells.share, strict=True):
            for car in range(self._speed.size):
                self._add(car, middle_s, share, hidden, painted)
        return np.asarray(light - hidden * self._still + painted, np.float32)

    def _add(self, car: int, t: float, share: float, hidden: Light, painted: Light) -> None:
        sign = -1.0 if self._comes[car] else 1.0
        z = 20 + sign * self._speed[car] * (t - self._passes_s[car])
        if not NEAREST_M + 1 < z < ROAD_ENDS_M:
            return
        x = float(road_centre(z)) + sign * HALF_ROAD_M / 2
        across = np.array([-1, 1, 1, -1]) * HALF_WIDE_M + x
        up = np.array([LOW_M, LOW_M, HIGH_M, HIGH_M])
        columns, rows = self._ground.pixels(across, np.full(4, z), up)
        corners = np.round(np.stack([columns, rows], axis=1) * 2**SUBPIXEL_BITS).astype(np.int32)
        mask = np.zeros(hidden.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, corners, 255, cv2.LINE_AA, SUBPIXEL_BITS)
        covered = mask[..., np.newaxis] * np.float32(share / 255)
        hidden += covered
        painted += covered * (self._paint[car] * WHITE).astype(np.float32)
