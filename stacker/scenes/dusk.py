"""Kestrel Point as the day goes: the sky fades, the town's lamps stay."""

from __future__ import annotations

import numpy as np

from stacker.scenes.camera import Camera
from stacker.scenes.glow import with_glow
from stacker.scenes.place import paint_shore
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.sky import DUSK
from stacker.scenes.water import Sea, Water

# The light of the sky halves in so many seconds, as it does about the end of civil twilight.
HALF_S = 360.0
# It is by so many stops brighter at the first frame than the hour that was painted.
BRIGHTER_STOPS = 1.6
# The water is as smooth as an exposure of this length makes it; it does not move from then on.
SMOOTHED_S = 20.0
# A place belongs to the lamps where they give it so many times the light of the sky, and to
# the sky where they give it less than this share.
LAMPS_RULE, SKY_RULES = 3.0, 0.02
# What is lit by lamps is told by the light at this share of the burst.
LATE = 0.9


class Dusk(Scene):
    """Lit windows under a sky that fades by a stop in six minutes."""

    camera = Camera(iso=100, f_number=8.0, focal_mm=35.0, clock="21:08:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        shore = paint_shore(view, DUSK)
        above_water = np.maximum(shore.land, shore.far)
        self._ground = np.where(view.y > shore.horizon, np.float32(1), above_water)
        lamps = with_glow(2 * shore.lamp_light(view, 0.9 * view.unit), view.unit)
        self._sky = 2**BRIGHTER_STOPS * self._over_water(
            shore.picture, shore.horizon, (0.006, 0.010, 0.018)
        )
        self._lamps = self._over_water(lamps, shore.horizon, (0.0, 0.0, 0.0))

    def _over_water(self, above: Light, horizon: float, body: tuple[float, float, float]) -> Light:
        """Return a picture with its reflection in smooth water below it."""
        picture = above.copy()
        water = Water(self.view, Sea(body=body, swing=0.10), horizon, above)
        picture[water.top :] = water.light(0.0, SMOOTHED_S)
        return picture

    def light(self, t0: float, t1: float) -> Light:
        rate = np.log(2) / HALF_S
        left = float((np.exp(-rate * t0) - np.exp(-rate * t1)) / (rate * (t1 - t0)))
        return np.asarray(np.float32(left) * self._sky + self._lamps, np.float32)

    def ground(self) -> Light:
        """Return the cover of land and water."""
        return np.asarray(self._ground, np.float32)

    def balance_s(self) -> float:
        """Return when the sky is as bright as the middle one of the places that lamps light.

        The sky is the brighter half of the places that it lights alone; lamps light a place where
        they give three times as much as the sky in the last tenth of the burst.
        """
        weights = np.array([0.2126, 0.7152, 0.0722], np.float32)
        sky, lamps = self._sky @ weights, self._lamps @ weights
        late = sky * 2 ** (-LATE * self.view.duration_s / HALF_S)
        alone = lamps < SKY_RULES * sky
        bright = sky[alone & (sky >= np.median(sky[alone]))].mean()
        lit = np.median(lamps[lamps > LAMPS_RULE * late])
        return float(HALF_S * np.log2(bright / lit))
