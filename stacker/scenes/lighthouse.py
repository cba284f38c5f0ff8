"""The lighthouse at night: two beams turning over the water, and a boat going home."""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from stacker.scenes.camera import Camera
from stacker.scenes.glow import with_glow
from stacker.scenes.place import paint_shore
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.sky import NIGHT
from stacker.scenes.streaks import LampLayer, cut_tracks
from stacker.scenes.texture import fractal_noise, smoothstep
from stacker.scenes.water import Sea, Water

TURN_S = 24.0
BEAMS = 2
BEAM_SIGMA = np.radians(2.3)
# Near the lantern beams lie closer than pixels: there they are blurred, up to this width.
WIDEST_SIGMA = 0.4
# How flat the circle of the turning beam looks from the shore: its height over its width.
FLATNESS = 0.42
BEAM_LIGHT = 0.34
LANTERN_COLOUR = np.array([1.0, 0.90, 0.70], np.float32)
# A quarter turn after the beam points right it points at the viewer.
TOWARDS_VIEWER = np.array([np.pi / 2], np.float32)
FREE_SIGMA = np.array([BEAM_SIGMA], np.float32)


def normal_cdf(z: Light) -> Light:
    """Return the share of a normal distribution below ``z``, to 2e-7.

    Source: M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 26.2.17.
    """
    size = np.abs(z)
    k = 1 / (1 + 0.2316419 * size)
    poly = k * (
        0.319381530 + k * (-0.356563782 + k * (1.781477937 + k * (-1.821255978 + k * 1.330274429)))
    )
    tail = np.exp(-0.5 * size * size) / np.sqrt(2 * np.pi) * poly
    return np.asarray(np.where(z < 0, tail, 1 - tail), np.float32)


def beam_share(angle: Light, sigma: Light, t0: float, t1: float) -> Light:
    """Return the mean of the beams' light at ``angle`` (radians) from ``t0`` to ``t1``.

    A beam is a normal profile about its direction, 1 at its middle. Its sweep over an angle is
    integrated in closed form, so it leaves no steps however long the exposure.

    ``sigma`` is the profile's width in radians at each angle. A wider one than BEAM_SIGMA holds
    the same light and is dimmer in its middle.
    """
    rate = 2 * np.pi / TURN_S
    apart = 2 * np.pi / BEAMS
    start, end = rate * t0, rate * t1
    total = np.zeros(angle.shape, np.float32)
    first = int(np.floor((start - np.pi - 4 * WIDEST_SIGMA) / apart))
    last = int(np.ceil((end + np.pi + 4 * WIDEST_SIGMA) / apart))
    for number in range(first, last + 1):
        middle = angle + number * apart
        total += normal_cdf((end - middle) / sigma) - normal_cdf((start - middle) / sigma)
    return total * np.float32(BEAM_SIGMA * np.sqrt(2 * np.pi) / (end - start))


class Lighthouse(Scene):
    """Dark water, a turning light and one small boat."""

    camera = Camera(iso=800, f_number=2.8, focal_mm=35.0, clock="23:12:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        shore = paint_shore(view, NIGHT)
        above = shore.picture + with_glow(shore.lamp_light(view, 0.85 * view.unit), view.unit)
        self._sea = Water(
            view,
            Sea(body=(0.0016, 0.0030, 0.0042), waves_m=(2.2, 14.0), swing=0.17, cell_s=0.2),
            shore.horizon,
            above,
        )
        self._above = above
        self._lantern = shore.lantern
        self._set_beam(shore.land)
        self._flash = self._flash_light()

    def _set_beam(self, land: Light) -> None:
        """Find the angle of the turning beam at each pixel, and how bright it can get there.

        The beam is soft: it is drawn at half size.
        """
        view = self.view
        small = (max(1, view.width // 2), max(1, view.height // 2))
        x = (np.arange(small[0]) + 0.5) * view.width / small[0] - 0.5 - self._lantern[0]
        y = (np.arange(small[1])[:, None] + 0.5) * view.height / small[1] - 0.5 - self._lantern[1]
        # Up in the picture is towards the viewer, passing over their head.
        self._angle = np.arctan2(-y / FLATNESS, x).astype(np.float32)
        away = np.hypot(x, y) / view.width
        cell_rad = (view.width / small[0]) / (FLATNESS * np.maximum(np.hypot(x, y), 1e-3))
        blurred = np.minimum(np.hypot(BEAM_SIGMA, cell_rad), WIDEST_SIGMA)
        self._sigma = np.asarray(blurred, np.float32)
        toward = np.sin(self._angle)
        reach = np.exp(-away / (0.34 + 0.10 * toward)) / (0.55 + 9 * away)
        haze = 1 + 0.16 * fractal_noise((small[1], small[0]), view.rng("haze"), 60 * view.unit)
        ahead = np.clip(0.75 + 0.45 * toward, 0.05, None)
        # Beams that point away dip behind the horizon.
        sea = smoothstep(0.01, -0.06, (y + self._lantern[1] - self._sea.horizon) / view.height)
        hidden = 1 - cv2.resize(land, small, interpolation=cv2.INTER_AREA)
        self._reach = (BEAM_LIGHT * reach * haze * ahead * sea * (0.15 + 0.85 * hidden)).astype(
            np.float32
        )

    def _flash_light(self) -> Light:
        """Return the lantern at full power with its glow and the light it throws, (H, W, 3)."""
        view = self.view
        layer = LampLayer(view.width, view.height, margin=2)
        x, y = (np.array([value]) for value in self._lantern)
        layer.add(x, y, 240 * view.unit**2 * LANTERN_COLOUR[None].astype(np.float64))
        return with_glow(layer.spread(1.3 * view.unit), view.unit)

    def light(self, t0: float, t1: float) -> Light:
        view = self.view
        beam = cv2.resize(
            beam_share(self._angle, self._sigma, t0, t1) * self._reach,
            (view.width, view.height),
            interpolation=cv2.INTER_LINEAR,
        )
        power = 0.10 + 0.90 * float(beam_share(TOWARDS_VIEWER, FREE_SIGMA, t0, t1)[0])
        moving = beam[..., None] * LANTERN_COLOUR + np.float32(power) * self._flash
        picture = self._above + moving
        picture[self._sea.top :] = self._sea.light(t0, t1) + self._sea.mirror_moving(moving)
        rows, boat = self._boat(t0, t1)
        picture[rows] += boat
        return picture

    def _boat(self, t0: float, t1: float) -> tuple[slice, Light]:
        """Return the light of the boat's lamps and of their broken reflections, and its rows."""
        view = self.view
        middle = self._sea.horizon + 0.085 * view.height
        rows = slice(
            max(0, int(middle - 0.2 * view.height)),
            min(view.height, int(middle + 0.25 * view.height)),
        )
        tall = rows.stop - rows.start
        mast, side = np.array([0.034, 0.012]), np.array([0.0, -0.006])
        sea_row = middle - rows.start

        def place(
            owner: npt.NDArray[np.intp], t: npt.NDArray[np.float64]
        ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
            roll = 0.0025 * np.sin(1.9 * t) + 0.0012 * np.sin(3.1 * t + 1)
            u = 0.07 + 0.021 * t + side[owner % 2] + roll * (mast[owner % 2] / 0.034)
            heave = 0.0016 * np.sin(1.35 * t)
            up = (mast[owner % 2] + heave) * view.height
            return u * view.width, np.where(owner < 2, sea_row - up, sea_row + 1.5 * up)

        pieces = cut_tracks(place, 4, t0, t1, cell_s=0.125)
        colour = np.array([[1.0, 0.78, 0.48], [0.9, 0.05, 0.03]]) * np.array([[60.0], [26.0]])
        layer = LampLayer(view.width, tall)
        mirrored = LampLayer(view.width, tall)
        x, y = place(pieces.owner, pieces.time_s)
        energy = colour[pieces.owner % 2] * (view.unit**2 * pieces.span_s / (t1 - t0))[:, None]
        real = pieces.owner < 2
        layer.add(x[real], y[real], energy[real])
        mirrored.add(x[~real], y[~real], 0.6 * energy[~real])
        smear = cv2.GaussianBlur(
            mirrored.spread(0.7), (0, 0), sigmaX=1.6 * view.unit, sigmaY=0.016 * view.height
        )
        return rows, with_glow(layer.spread(1.0 * view.unit), view.unit) + smear
