"""The harbour in late light: tide water between a stone quay and the headland."""

from __future__ import annotations

import numpy as np

from stacker.scenes.camera import Camera
from stacker.scenes.glow import with_glow
from stacker.scenes.pier import paint_pier
from stacker.scenes.place import paint_shore
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.sky import LATE
from stacker.scenes.texture import lay_over, smoothstep
from stacker.scenes.water import Sea, Water


class Harbour(Scene):
    """Still stone, moving water: the mean turns the waves to silk."""

    camera = Camera(iso=100, f_number=11.0, focal_mm=35.0, clock="20:31:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        shore = paint_shore(view, LATE)
        lamps = with_glow(shore.lamp_light(view, 0.9 * view.unit), view.unit)
        sun = _sun(view)
        above = shore.picture + lamps + (1 - shore.land)[..., None] * sun
        # The water sees the sun itself, not the veiled disc of the picture.
        self._water = Water(view, Sea(body=(0.035, 0.075, 0.085)), shore.horizon, above + 2.5 * sun)
        self._above = above
        self._pier = paint_pier(view, LATE)

    def light(self, t0: float, t1: float) -> Light:
        picture = self._above.copy()
        picture[self._water.top :] = self._water.light(t0, t1)
        colour, cover = self._pier
        lay_over(picture, colour, cover)
        return picture


def _sun(view: View) -> Light:
    """Return the low sun behind haze, (H, W, 3)."""
    radius = 11 * view.unit
    x, y = LATE.sun_at[0] * view.width, LATE.sun_at[1] * view.height
    away = np.hypot(view.x - x, view.y - y)
    disc = 1 - smoothstep(0.75 * radius, 1.25 * radius, away)
    halo = 0.22 * np.exp(-away / (2.6 * radius)) + 0.10 * np.exp(-away / (9 * radius))
    glow = (2.6 * disc + halo)[..., None] * np.array([1.0, 0.72, 0.38])
    return np.asarray(glow, np.float32)
