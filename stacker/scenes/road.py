"""The coast road at dusk: cars both ways, winding towards the headland."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.scenes.camera import Camera
from stacker.scenes.glow import wide_blur, with_glow
from stacker.scenes.pier import Ground, joint_cover
from stacker.scenes.place import Shore, lit, paint_shore
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.sky import DUSK, blend
from stacker.scenes.streaks import LampLayer, cut_tracks
from stacker.scenes.texture import fractal_noise, lay_over, relief, rough_line, smoothstep
from stacker.scenes.water import Sea, Water

FloatArray = npt.NDArray[np.float64]

HORIZON_AT = 0.42
EYE_M = 5.5
HALF_ROAD_M = 3.7
WALL_AT_M, WALL_TALL_M = -5.3, 0.9
VERGE_TO_M = 6.2
ROAD_ENDS_M = 330.0
NEAREST_M = 4.0
CELL_S = 0.125
CARS_PER_SECOND = 0.22
# Lamps are brighter than white by this much where they are resolved.
HEAD_LIGHT, TAIL_LIGHT = 26.0, 7.0
HEAD_COLOUR, TAIL_COLOUR = np.array([1.0, 0.86, 0.62]), np.array([1.0, 0.045, 0.02])
LAMP_RADIUS_M = 0.10
# Lamps are drawn as Gaussians of these widths (at 960 x 640), two of them mixed for each lamp.
WIDTHS_PX = (0.8, 1.6, 3.2, 6.4)


def road_centre(z: Light | FloatArray) -> FloatArray:
    """Return how far right of the eye the middle of the road lies ``z`` metres away."""
    away = np.asarray(z, np.float64)
    # The bends die out in the distance, where the headland hides the road.
    bend = np.sin(np.minimum(away, 300.0) / 72 - 0.75)
    return away * (0.035 + 0.125 * bend * (1 - smoothstep(150.0, 330.0, away)))


class Road(Scene):
    """Light trails along a winding road."""

    camera = Camera(iso=100, f_number=11.0, focal_mm=35.0, clock="22:05:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        shore = paint_shore(view, DUSK, horizon_at=HORIZON_AT)
        self._ground = Ground(
            0.5 * (view.width - 1), shore.horizon, 1.05 * max(view.width, view.height), EYE_M
        )
        self._still, self._albedo = self._paint(shore)
        self._draw_cars()

    def _paint(self, shore: Shore) -> tuple[Light, Light]:
        """Return the road without cars and what share of light its surface throws back."""
        view = self.view
        above = shore.picture + with_glow(shore.lamp_light(view, 0.9 * view.unit), view.unit)
        water = Water(view, Sea(body=(0.010, 0.018, 0.026), eye_m=14.0), shore.horizon, above)
        picture = above
        picture[water.top :] = water.light(0.0, 3.0)
        x, z = self._ground.metres(view)
        across = (x - road_centre(z)).astype(np.float32)
        pixel_m = z / self._ground.focal_px
        albedo = self._surface(across, z, pixel_m)
        self._hillside(picture, shore.horizon, across, z)
        land = np.clip((across - WALL_AT_M + 0.2) / pixel_m + 0.5, 0, 1)
        land *= smoothstep(ROAD_ENDS_M * 1.3, ROAD_ENDS_M * 0.9, z) * (view.y > shore.horizon)
        ground = lit(albedo, DUSK, 0.4)
        right = smoothstep(VERGE_TO_M - 0.6, VERGE_TO_M + 0.8, across)
        land *= 1 - right
        lay_over(picture, ground, land.astype(np.float32))
        return picture, albedo * land[..., None].astype(np.float32)

    def _surface(self, across: Light, z: Light, pixel_m: Light) -> Light:
        """Return the reflectance of asphalt, markings, verge and wall, (H, W, 3)."""
        view = self.view
        rng = view.rng("asphalt")
        shape = (view.height, view.width)
        grain = fractal_noise(shape, rng, 5 * view.unit, stretch=2.5, gain=0.8)
        patch = fractal_noise(shape, rng, 40 * view.unit, stretch=3.0)
        tar = 0.105 * (1 + 0.14 * grain + 0.10 * patch)
        ruts = np.exp(-(((np.abs(across) - 1.05) / 0.35) ** 2)) + np.exp(
            -(((np.abs(across) - 2.65) / 0.35) ** 2)
        )
        tar *= 1 - 0.16 * ruts
        surface = tar[..., None] * np.array([1.0, 1.0, 1.04], np.float32)

        def line(at: float, wide: float, share: Light | float) -> None:
            soft = np.maximum(pixel_m, 0.03)
            cover = np.clip((wide / 2 + soft / 2 - np.abs(across - at)) / soft, 0, 1)
            cover *= np.minimum(wide / soft, 1) * share * (0.82 + 0.12 * grain)
            lay_over(surface, (0.62, 0.62, 0.58), np.clip(cover, 0, 1).astype(np.float32))

        depth_px = pixel_m * z / EYE_M
        dash = joint_cover(z / 9.0, 0.36, depth_px / 9.0)
        line(-HALF_ROAD_M + 0.25, 0.14, 1.0)
        line(HALF_ROAD_M - 0.25, 0.14, 1.0)
        line(0.0, 0.14, np.minimum(dash, 1))
        grass = np.clip(0.6 + 0.45 * grain + 0.3 * patch, 0.1, 1.8)[..., None] * np.float32(
            [0.13, 0.15, 0.06]
        )
        frayed = np.abs(across) + 0.18 * patch + 0.10 * grain
        lay_over(surface, grass, smoothstep(HALF_ROAD_M + 0.1, HALF_ROAD_M + 0.5, frayed))
        return surface

    def _hillside(self, picture: Light, horizon: float, across: Light, z: Light) -> None:
        """Paint the scrub-covered slope that rises to the right of the road."""
        view = self.view
        rng = view.rng("hillside")
        shape = (view.height, view.width)
        u = view.x / view.width
        outline = 0.47 * smoothstep(0.62, 1.12, u) + 0.02 * smoothstep(0.60, 0.66, u)
        outline = outline * (1 + 0.10 * rough_line(view.width, rng, 0.12 * view.width, gain=0.58))
        sky_line = np.clip(view.y - (horizon - outline * view.height) + 0.5, 0, 1)
        right = smoothstep(VERGE_TO_M - 0.9, VERGE_TO_M + 0.5, across + 0.0 * z)
        beside = np.where(view.y > horizon, right, smoothstep(0.598, 0.64, u))
        bushes = fractal_noise(shape, rng, 44 * view.unit, stretch=1.5, gain=0.68)
        fine = fractal_noise(shape, rng, 14 * view.unit, stretch=1.2, gain=0.75)
        bumps = relief(
            bushes * 10 * view.unit + fine * 3 * view.unit, from_left=0.6, from_above=0.6
        )
        colour = blend((0.13, 0.16, 0.06), (0.20, 0.15, 0.08), smoothstep(-1, 1.2, bushes))
        face = np.clip(0.50 + 0.9 * bumps, 0.03, 1.6)
        shaded = lit(colour, DUSK, face) * (0.55 + 0.45 * np.clip(face, 0, 1))[..., None]
        haze = 0.35 * (1 - smoothstep(0.62, 0.95, u))
        lay_over(
            picture,
            blend(shaded, DUSK.middle, np.broadcast_to(haze, shape)),
            (sky_line * beside).astype(np.float32),
        )

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
        scale = 4
        layer = LampLayer(view.width // scale + 1, view.height // scale + 1, margin=24)
        away = np.maximum(z, NEAREST_M)
        ahead = np.where(comes, -7.0, 0.0)
        place = np.maximum(away + ahead, NEAREST_M)
        bend = road_centre(place) - road_centre(away)
        px = x + self._ground.focal_px * bend / place
        py = np.asarray(self._ground.pixels(0.0, place)[1], np.float64)
        layer.add(px / scale, py / scale, energy / scale**2)
        pool = wide_blur(layer.spread(3.2 * view.unit), 6.0 * view.unit)
        large = np.asarray(_enlarge(pool, scale, view), np.float32)
        return 1.1 * large * self._albedo

    def empty(self) -> Light:
        return self._still.copy()


def _enlarge(light: Light, scale: int, view: View) -> Light:
    """Return ``light`` enlarged by ``scale`` and cut to the picture."""
    import cv2

    height, width = light.shape[:2]
    large = cv2.resize(light, (width * scale, height * scale), interpolation=cv2.INTER_LINEAR)
    return np.maximum(large[: view.height, : view.width], 0)
