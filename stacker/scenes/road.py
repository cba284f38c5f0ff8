"""The coast road at dusk: cars both ways, winding towards the headland."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.scenes.camera import Camera
from stacker.scenes.glow import enlarged, wide_blur, with_glow
from stacker.scenes.roadside import (
    HALF_ROAD_M,
    ROAD_ENDS_M,
    paint_road,
    road_centre,
    road_ground,
)
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.streaks import LampLayer, cut_tracks

FloatArray = npt.NDArray[np.float64]

NEAREST_M = 4.0
CELL_S = 0.125
CARS_PER_SECOND = 0.22
# Lamps are brighter than white by this much where they are resolved.
HEAD_LIGHT, TAIL_LIGHT = 26.0, 9.0
HEAD_COLOUR, TAIL_COLOUR = np.array([1.0, 0.86, 0.62]), np.array([1.0, 0.045, 0.02])
LAMP_RADIUS_M = 0.10
# Lamps are drawn as Gaussians of these widths (at 960 x 640), two of them mixed for each lamp.
WIDTHS_PX = (0.8, 1.6, 3.2, 6.4)
# The light thrown on the road is soft: it is drawn this many times smaller.
POOL_STEP = 4


class Road(Scene):
    """Light trails along a winding road."""

    camera = Camera(iso=100, f_number=11.0, focal_mm=35.0, clock="22:05:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        self._ground = road_ground(view)
        self._still, self._albedo = paint_road(view, self._ground)
        self._draw_cars()

    def _draw_cars(self) -> None:
        """Draw when each car passes, how fast it goes and which way."""
        rng = self.view.rng("cars")
        early = ROAD_ENDS_M / 12
        count = max(2, round(CARS_PER_SECOND * 2 * (self.view.duration_s + early)))
        self._passes_s = np.sort(rng.uniform(-early, self.view.duration_s + early, count))
        self._comes = rng.random(count) < 0.5
        self._speed = rng.normal(15.5, 1.0, count).clip(12, 19)
        self._half = rng.uniform(0.58, 0.72, count)
        self._tall = rng.uniform(0.60, 0.85, count)

    def _where(
        self, owner: npt.NDArray[np.intp], t: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return x, y in pixels and distance in metres of lamp ``owner`` (two to a car)."""
        car, side = owner // 2, 2 * (owner % 2) - 1
        sign = np.where(self._comes[car], -1.0, 1.0)
        z = 20 + sign * self._speed[car] * (t - self._passes_s[car])
        clear = np.clip(z, NEAREST_M, ROAD_ENDS_M * 1.5)
        lane = sign * HALF_ROAD_M / 2
        x, y = self._ground.pixels(
            road_centre(clear) + lane + side * self._half[car], clear, self._tall[car]
        )
        return np.asarray(x, np.float64), np.asarray(y, np.float64), z

    def light(self, t0: float, t1: float) -> Light:
        view = self.view
        pieces = cut_tracks(
            lambda owner, t: self._where(owner, t)[:2], 2 * self._speed.size, t0, t1, cell_s=CELL_S
        )
        x, y, z = self._where(pieces.owner, pieces.time_s)
        comes = self._comes[pieces.owner // 2]
        seen = ((z > NEAREST_M + 1) & (z < ROAD_ENDS_M)).astype(np.float64)
        seen *= np.clip((ROAD_ENDS_M - z) / 60, 0, 1)
        radius = self._ground.focal_px * LAMP_RADIUS_M / np.maximum(z, NEAREST_M)
        power = np.where(comes, HEAD_LIGHT, TAIL_LIGHT) * np.pi * radius**2
        colour = np.where(comes[:, None], HEAD_COLOUR, TAIL_COLOUR)
        energy = colour * (power * seen * pieces.span_s / (t1 - t0))[:, None]
        lamps = with_glow(self._lamps(x, y, radius, energy), view.unit)
        return self._still + lamps + self._pools(x, y, z, comes, energy)

    def _lamps(self, x: FloatArray, y: FloatArray, radius: FloatArray, energy: FloatArray) -> Light:
        """Return lamps of ``radius`` px: each is shared between the two nearest widths."""
        view = self.view
        widths = np.array(WIDTHS_PX) * view.unit
        wanted = (0.6 * radius) ** 2 + widths[0] ** 2
        total = np.zeros((view.height, view.width, 3), np.float32)
        for i, width in enumerate(widths):
            share = np.interp(wanted, widths**2, np.eye(len(widths))[i])
            used = share > 0
            if not used.any():
                continue
            layer = LampLayer(view.width, view.height, margin=int(3 * width) + 2)
            layer.add(x[used], y[used], energy[used] * share[used, None])
            total += layer.spread(max(float(width), 0.6))
        return total

    def _pools(
        self,
        x: FloatArray,
        y: FloatArray,
        z: FloatArray,
        comes: npt.NDArray[np.bool_],
        energy: FloatArray,
    ) -> Light:
        """Return the light that the lamps throw on the road before (or behind) them."""
        view = self.view
        scale = POOL_STEP
        layer = LampLayer(view.width // scale + 1, view.height // scale + 1, margin=24)
        away = np.maximum(z, NEAREST_M)
        ahead = np.where(comes, -7.0, 0.0)
        place = np.maximum(away + ahead, NEAREST_M)
        bend = road_centre(place) - road_centre(away)
        px = x + self._ground.focal_px * bend / place
        py = np.asarray(self._ground.pixels(0.0, place)[1], np.float64)
        layer.add(px / scale, py / scale, energy / scale**2)
        pool = wide_blur(layer.spread(3.2 * view.unit), 6.0 * view.unit)
        large = enlarged(pool, pool.shape[1] * POOL_STEP, pool.shape[0] * POOL_STEP)
        return np.float32(1.1) * large[: view.height, : view.width] * self._albedo

    def empty(self) -> Light:
        return self._still.copy()
