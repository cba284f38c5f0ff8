"""A simulated sensor at night with its faults, every one of them known."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from dng import Sensor

Array = np.ndarray
# electrons of a full photosite at the sensor's gain, and the noise of reading it
FULL_E, READ_E = 4000.0, 3.0
SENSOR = Sensor(neutral=(0.5, 1.0, 0.625))


@dataclass(frozen=True, eq=False)
class Faults:
    """What is wrong with a sensor and the lens before it; all (H, W).

    Parameters
    ----------
    dark_e : electrons that each photosite gathers in the dark in one frame.
    response : what each photosite makes of light: vignetting, dust, dead photosites.
    hot : where the dark is hot.
    dead : where there is no response.
    """

    dark_e: Array
    response: Array
    hot: Array
    dead: Array


def make_faults(size: tuple[int, int], seed: int, *, hot: int = 60, dead: int = 12) -> Faults:
    """Return faults of a sensor of (height, width): hot ones from 6 sigma of a frame up."""
    rng = np.random.default_rng(seed)
    height, width = size
    y, x = np.mgrid[0:height, 0:width]
    radius = np.hypot((y - height / 2) / height, (x - width / 2) / width)
    response = 1 - 0.8 * radius**2
    for _ in range(4):
        centre = rng.uniform(0.1, 0.9, 2) * size
        spot = np.hypot(y - centre[0], x - centre[1]) / (0.05 * min(size))
        response *= 1 - 0.25 * np.exp(-(spot**4))
    # amplifier glow in a corner, and a pattern that differs from photosite to photosite
    dark = 20 * np.exp(-(np.hypot(y - height, x) / (0.3 * width))) + rng.gamma(2, 2, size)
    places = rng.permutation(np.flatnonzero(_apart(size)))[: hot + dead]
    is_hot, is_dead = np.zeros(size, bool), np.zeros(size, bool)
    is_hot.flat[places[:hot]] = True
    is_dead.flat[places[hot:]] = True
    sigma = np.sqrt(np.median(dark) + 30 + READ_E**2)
    dark[is_hot] += np.exp(rng.uniform(np.log(6.5 * sigma), np.log(1.5 * FULL_E), hot))
    response = np.where(is_dead, 0.0, response)
    return Faults(dark, response, is_hot, is_dead)


def _apart(size: tuple[int, int]) -> Array:
    """Return where a fault may lie so that no two touch, away from the border."""
    y, x = np.mgrid[0 : size[0], 0 : size[1]]
    inside = (y > 8) & (x > 8) & (y < size[0] - 8) & (x < size[1] - 8)
    return inside & (y % 7 == 3 - x // 7 % 2) & (x % 7 == 1)


def star(shape: tuple[int, int], y: float, x: float, fwhm: float) -> tuple[slice, slice, Array]:
    """Return where a star of light 1 lies and how it falls on photosites that fill their place."""
    sigma = fwhm / 2.3548
    top, left = max(0, int(y) - 8), max(0, int(x) - 8)
    rows, columns = slice(top, min(shape[0], top + 17)), slice(left, min(shape[1], left + 17))

    def along(places: slice, at: float) -> Array:
        # nine points over each photosite stand for its area
        fine = np.arange(places.start, places.stop)[:, None] + (np.arange(9) - 4) / 9
        return np.exp(-((fine - at) ** 2) / (2 * sigma**2)).mean(1)

    return rows, columns, along(rows, y)[:, None] * along(columns, x)[None]


@dataclass(frozen=True)
class Sky:
    """A night sky over lamps: light (H, W, 3) of any frame, in full photosites."""

    size: tuple[int, int]
    seed: int = 0
    stars: int = 60
    fwhm: float = 1.2
    drift_px: float = 0.1
    lamps: int = 12
    background: float = 0.008

    def light(self, frame: int) -> Array:
        """Return the light of a frame: stars drift, lamps and a lit wall stay."""
        rng = np.random.default_rng(self.seed)
        height, width = self.size
        light = np.full((height, width, 3), self.background)
        # a wall in the lower quarter, with texture as fine as the lens draws
        wall = 0.2 * rng.random((height - 3 * height // 4, width)) ** 2
        light[3 * height // 4 :] += cv2.GaussianBlur(wall, (0, 0), self.fwhm / 2.3548)[..., None]
        for _ in range(self.stars):
            y, x = rng.uniform(0, height * 0.75), rng.uniform(0, width)
            colour = np.array([1 + rng.uniform(-0.3, 0.3), 1, 1 + rng.uniform(-0.3, 0.3)])
            peak = np.exp(rng.uniform(np.log(0.008), np.log(1.5)))
            at = y, x + frame * self.drift_px
            rows, columns, spread = star(self.size, *at, self.fwhm)
            light[rows, columns] += peak * spread[..., None] * colour
        for _ in range(self.lamps):
            y, x = rng.uniform(height * 0.75, height), rng.uniform(0, width)
            colour = np.array([1.0, rng.uniform(0.3, 0.9), rng.uniform(0.05, 0.6)])
            rows, columns, spread = star(self.size, y, x, rng.uniform(2.2, 5))
            light[rows, columns] += rng.uniform(0.2, 2) * spread[..., None] * colour
        return light


def expose(light: Array, faults: Faults, rng: np.random.Generator, *, time: float = 1.0) -> Array:
    """Return a sensor's codes of light (H, W, 3), uint16 (H, W), with all its faults.

    ``time`` is the frame's shutter to the one that ``dark_e`` is for.
    """
    rows, columns = np.mgrid[0 : light.shape[0], 0 : light.shape[1]]
    colour = np.asarray(SENSOR.pattern)[(rows % 2) * 2 + columns % 2]
    seen = np.take_along_axis(light * np.asarray(SENSOR.neutral), colour[..., None], 2)[..., 0]
    electrons = rng.poisson(seen * faults.response * FULL_E + faults.dark_e * time)
    signal = electrons + READ_E * rng.standard_normal(electrons.shape)
    codes = SENSOR.black + signal * (SENSOR.white - SENSOR.black) / FULL_E
    return np.rint(np.clip(codes, 0, SENSOR.white)).astype(np.uint16)
