"""Stars turning about the pole above the dark headland.

The camera is level-free and rectilinear: directions are projected on a plane. Stars keep their
distance from the pole and turn about it once in a sidereal day, against the clock as seen from
the northern half of the Earth.

Source: counts of stars by magnitude roughly follow 10^(0.51 m) (C. W. Allen, Astrophysical
Quantities, 1973, section 116); flux falls by 10^(-0.4 m).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.scenes.camera import Camera
from stacker.scenes.glow import with_glow
from stacker.scenes.place import paint_shore
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.sky import NIGHT
from stacker.scenes.skyline import plant_skyline
from stacker.scenes.streaks import LampLayer, cut_paths
from stacker.scenes.texture import fractal_noise, smoothstep
from stacker.scenes.water import Sea, Water

FloatArray = npt.NDArray[np.float64]

# The sky turns by 15.041 seconds of arc in a second of time.
TURN_RAD_S = np.radians(15.041 / 3600)
POLE_AT = (0.40, 0.36)
HORIZON_AT = 0.86
FOCAL_MM, FRAME_MM = 24.0, 36.0
# Over the whole sphere there are about this many stars brighter than this magnitude.
COUNTED_STARS, COUNTED_TO = 9000, 6.5
SLOPE = 0.51
FAINTEST = 7.0
BRIGHTEST = 0.3
# Light of a star of magnitude 0, in white pixels of a 960 x 640 picture.
MAGNITUDE_ZERO_PX = 75.0
SIGMA_PX = 0.70


class Stars(Scene):
    """A star field about the pole, whose place is given as shares of width and height."""

    camera = Camera(iso=1600, f_number=2.8, focal_mm=FOCAL_MM, clock="00:40:00", blur_sigma_px=0.4)

    def __init__(self, view: View, *, pole_at: tuple[float, float] = POLE_AT) -> None:
        super().__init__(view)
        self.focal_px = FOCAL_MM / FRAME_MM * max(view.width, view.height)
        self.pole_px = (pole_at[0] * view.width, pole_at[1] * view.height)
        self._axes = self._pole_axes()
        self._draw_lots()
        shore = paint_shore(view, NIGHT, horizon_at=HORIZON_AT, clouds=False)
        plant_skyline(view, NIGHT, shore)
        below = view.y > shore.horizon
        self._cover = np.maximum(np.maximum(shore.land, shore.far), below.astype(np.float32))
        self._still = self._ground(
            shore.picture, shore.lamp_light(view, 0.8 * view.unit), shore.horizon
        )
        rise = (shore.horizon - view.y) / view.height
        # Air near the horizon dims the stars.
        clear = smoothstep(0.0, 0.30, rise) * 0.85 + 0.15 * smoothstep(0.0, 0.05, rise)
        # the far hills hide stars as the headland does
        hidden = np.maximum(shore.land, shore.far)
        self._clear: Light = (clear * (1 - hidden))[..., None].astype(np.float32)

    def ground(self) -> Light:
        return np.asarray(self._cover, np.float32)

    def _pole_axes(self) -> FloatArray:
        """Return the directions of the pole and of two axes across it, as rows (3, 3)."""
        centre = (self.view.width - 1) / 2, (self.view.height - 1) / 2
        pole = np.array([(self.pole_px[i] - centre[i]) / self.focal_px for i in (0, 1)] + [1.0])
        pole /= np.linalg.norm(pole)
        right = np.array([1.0, 0.0, 0.0]) - pole[0] * pole
        right /= np.linalg.norm(right)
        return np.stack([pole, right, np.cross(pole, right)])

    def _draw_lots(self) -> None:
        """Draw the stars that can come into the picture: place, brightness and colour."""
        rng = self.view.rng("stars")
        corners = np.array([(x, y) for x in (0, self.view.width) for y in (0, self.view.height)])
        centre = np.array([self.view.width - 1, self.view.height - 1]) / 2
        rays = np.column_stack([(corners - centre) / self.focal_px, np.ones(4)])
        rays /= np.linalg.norm(rays, axis=1, keepdims=True)
        least = float((rays @ self._axes[0]).min())
        sphere = COUNTED_STARS * 10 ** (SLOPE * (FAINTEST - COUNTED_TO))
        count = int(sphere * (1 - least) / 2)
        toward = rng.uniform(least, 1, count)
        self.polar_rad = np.arccos(toward)
        self.hour_rad = rng.uniform(0, 2 * np.pi, count)
        magnitude = FAINTEST + np.log10(rng.uniform(1e-9, 1, count)) / SLOPE
        magnitude = np.maximum(magnitude, BRIGHTEST)
        flux = MAGNITUDE_ZERO_PX * self.view.unit**2 * 10 ** (-0.4 * magnitude)
        warm = np.clip(rng.normal(0.0, 0.55, count), -1, 1.3)[:, None]
        # From blue-white through white to orange; the eye's brightness stays.
        colour = np.clip(1 + warm * np.array([0.24, -0.03, -0.36]), 0.2, None)
        self.energy = flux[:, None] * colour / (colour @ [0.2126, 0.7152, 0.0722])[:, None]

    def place(
        self, owner: npt.NDArray[np.intp], time_s: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Return x and y in pixels of stars ``owner`` at ``time_s``, each (P,)."""
        hour = self.hour_rad[owner] - TURN_RAD_S * time_s
        polar = self.polar_rad[owner]
        local = np.stack(
            [np.cos(polar), np.sin(polar) * np.cos(hour), np.sin(polar) * np.sin(hour)]
        )
        x, y, z = self._axes.T @ local
        # Stars behind the camera are put far outside the picture.
        z = np.where(z > 0.05, z, np.inf)
        centre = (self.view.width - 1) / 2, (self.view.height - 1) / 2
        behind = np.where(np.isinf(z), -1e6, 0)
        return centre[0] + self.focal_px * x / z + behind, centre[1] + self.focal_px * y / z

    def _ground(self, picture: Light, lamps: Light, horizon: float) -> Light:
        """Return sky glow, headland, lamps and calm dark water, (H, W, 3)."""
        view = self.view
        glow = with_glow(lamps, view.unit)
        drift = fractal_noise(
            (view.height, view.width),
            view.rng("airglow"),
            0.3 * view.height,
            stretch=2.0,
            octaves=3,
        )
        town = np.exp(
            -(((view.x / view.width - 0.9) / 0.35) ** 2)
            - np.abs(horizon - view.y) / (0.16 * view.height)
        )
        sky = picture * (1 + 0.07 * drift[..., None]) + town[..., None] * np.array(
            [0.010, 0.0068, 0.0040], np.float32
        )
        above = sky + glow
        water = Water(view, Sea(body=(0.001, 0.002, 0.003), waves_m=(2.2, 14.0)), horizon, above)
        above[water.top :] = water.light(0.0, 6.0)
        return np.asarray(above, np.float32)

    def light(self, t0: float, t1: float) -> Light:
        view = self.view
        # A rectilinear picture stretches towards its corners: allow for twice the speed.
        speed = 2.0 * TURN_RAD_S * np.sin(self.polar_rad) * self.focal_px
        pieces = cut_paths(t0, t1, speed)
        x, y = self.place(pieces.owner, pieces.time_s)
        layer = LampLayer(view.width, view.height)
        layer.add(x, y, self.energy[pieces.owner] * (pieces.span_s / (t1 - t0))[:, None])
        return self._still + layer.spread(max(SIGMA_PX * view.unit, 0.6)) * self._clear
