"""Textures that move without a pause, seen by a camera that shuts its eye in between.

Every scene is an instantaneous light that can be asked for at any time. Frames are means of it over
the shutter, the truth is its mean from the opening of the first frame to the closing of the last.
Water carries a texture along a field of velocities; the texture is renewed while it moves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge import Exposed
from stacker.light.srgb import linear_to_srgb
from tests.benchmarks.simulated_bursts import CODE_LIGHT, Light, noise_texture

Field = npt.NDArray[np.float32]

WIDTH, HEIGHT = 512, 384
FRAMES = 12
# of one scene's clock; a texture moves less than a pixel in it
TICK_S = 1 / 240
FULL_WELL_E = 8000.0
READ_NOISE_E = 4.0


@dataclass(frozen=True, eq=False)
class SimulatedFlow:
    """Frames as linear light (H, W, 3) after noise and 8 bits, the truth, and what moves."""

    frames: list[Light]
    exposed: list[Exposed]
    truth: Light
    moving: npt.NDArray[np.bool_]
    still: Light = field(repr=False)


Scene = tuple[Callable[[float], Light], npt.NDArray[np.bool_]]


def simulate_flow(name: str, seed: int, count: int = FRAMES) -> SimulatedFlow:
    """Return the burst of a scene; the same seed gives the same burst."""
    rng = np.random.default_rng(seed)
    make, shutter_s, period_s = SCENES[name]
    look, moving = make(rng)
    per_shutter, per_period = round(shutter_s / TICK_S), round(period_s / TICK_S)
    ticks = per_period * (count - 1) + per_shutter
    total = np.zeros((HEIGHT, WIDTH, 3), np.float64)
    frames, sum_of_frame = [], np.zeros((HEIGHT, WIDTH, 3))
    for tick in range(ticks):
        light = look((tick + 0.5) * TICK_S)
        total += light
        within = tick % per_period
        if within < per_shutter:
            sum_of_frame += light
            if within == per_shutter - 1:
                frames.append(_recorded(sum_of_frame / per_shutter, rng))
                sum_of_frame[:] = 0
    exposed = [Exposed(number * period_s, shutter_s) for number in range(count)]
    truth = (total / ticks).astype(np.float32)
    return SimulatedFlow(frames, exposed, truth, moving, look(0))


def _recorded(light: npt.NDArray[np.float64], rng: np.random.Generator) -> Light:
    """Return what comes back from noisy 8-bit codes."""
    variance = np.maximum(light, 0) / FULL_WELL_E + (READ_NOISE_E / FULL_WELL_E) ** 2
    seen = light + rng.standard_normal(light.shape) * np.sqrt(variance)
    return CODE_LIGHT[np.rint(linear_to_srgb(np.clip(seen, 0, 1)) * 255).astype(np.uint8)]


class Carried:
    """A texture carried along a steady field, renewed by layers that come and go.

    Parameters
    ----------
    velocity : float32 (H, W, 2), pixels per second.
    life_s : how long a layer is seen; three at a time are.
    """

    def __init__(
        self, velocity: Field, life_s: float, rng: np.random.Generator, slope: float = 1.0
    ) -> None:
        self.life_s = life_s
        self.rng = rng
        self.slope = slope
        self.layers: dict[int, Field] = {}
        self.back = [np.zeros_like(velocity)]
        self.velocity = velocity
        y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
        self.place = np.stack([x, y], axis=-1)

    def _backwards(self, steps: int) -> Field:
        """Return where what is here was so many ticks ago, as a displacement."""
        while len(self.back) <= steps:
            last = self.back[-1]
            step = (-TICK_S * _at(self.velocity, self.place + last)).astype(np.float32)
            self.back.append(last + step)
        return self.back[steps]

    def at(self, time_s: float) -> Field:
        """Return the texture, mean 0, deviation about 1, (H, W)."""
        total = np.zeros((HEIGHT, WIDTH), np.float32)
        apart = self.life_s / 3
        newest = int(np.floor(time_s / apart))
        for number in range(newest - 2, newest + 1):
            age = time_s - number * apart
            if number not in self.layers:
                seed = [number % 1000, int(self.rng.integers(1 << 30))]
                texture = noise_texture((1024, 1024), np.random.default_rng(seed), self.slope)
                self.layers[number] = cv2.GaussianBlur(texture, (0, 0), 0.8)
            weight = np.sin(np.pi * age / self.life_s) ** 2 * np.sqrt(8 / 9)
            back = self.place + self._backwards(round(age / TICK_S)) + 256
            total += np.float32(weight) * cv2.remap(
                self.layers[number], back, None, cv2.INTER_CUBIC, borderMode=cv2.BORDER_WRAP
            )
        return total


def _at(values: Field, place: Field) -> Field:
    return cv2.remap(values, place, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def _grid() -> tuple[Field, Field]:
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    return x, y


def _ground(rng: np.random.Generator) -> Light:
    grain = noise_texture((WIDTH, HEIGHT), rng)
    stones = noise_texture((WIDTH, HEIGHT), rng, 0.5)
    light = 0.16 * np.exp(0.4 * grain + 0.3 * stones)[..., None]
    return (light * np.array([1.0, 0.93, 0.8])).astype(np.float32)


def _water(
    carried: Carried, cover: Field, ground: Light, colour: tuple[float, float, float], depth: float
) -> Scene:
    soft = cv2.GaussianBlur(cover, (0, 0), 1.5)[..., None]
    body = np.array(colour, np.float32)

    def look(time_s: float) -> Light:
        tone = np.exp(depth * carried.at(time_s))[..., None]
        return ground + soft * (body * tone - ground)

    return look, cv2.erode(cover, np.ones((9, 9), np.uint8)) > 0.5


def river(rng: np.random.Generator) -> Scene:
    """A winding river, fast in the middle: up to 36 pixels from frame to frame."""
    x, y = _grid()
    phase = rng.uniform(0, 2 * np.pi)
    bend = 30 * np.sin(x / 90 + phase)
    across = (y - 200 - bend) / 120
    speed = 180 * np.maximum(1 - across**2, 0) ** 0.6
    velocity = np.stack([speed, speed * np.cos(x / 90 + phase) * 30 / 90], axis=-1)
    carried = Carried(velocity.astype(np.float32), 1.8, rng)
    cover = (np.abs(across) < 1).astype(np.float32)
    return _water(carried, cover, _ground(rng), (0.2, 0.27, 0.3), 0.38)


def waterfall(rng: np.random.Generator) -> Scene:
    """Water that falls faster and faster, in strands: 20 to 50 pixels from frame to frame."""
    x, y = _grid()
    strands = cv2.GaussianBlur(rng.standard_normal((1, WIDTH)).astype(np.float32), (0, 0), 25)
    strands = 1 + 0.15 * strands / strands.std()
    speed = np.sqrt(100.0**2 + 2 * 70.0 * y) * strands
    sway = 8 * np.sin(y / 50 + x / 70)
    velocity = np.stack([sway, speed], axis=-1).astype(np.float32)
    carried = Carried(velocity, 1.2, rng, slope=0.9)
    cover = (np.abs(x - 256 - 20 * np.sin(y / 80)) < 170).astype(np.float32)
    return _water(carried, cover, _ground(rng), (0.42, 0.46, 0.5), 0.4)


def boiling(rng: np.random.Generator) -> Scene:
    """Water that wells up and turns over: up to 25 pixels from frame to frame."""
    swirl = cv2.GaussianBlur(rng.standard_normal((HEIGHT, WIDTH)).astype(np.float32), (0, 0), 30)
    well = cv2.GaussianBlur(rng.standard_normal((HEIGHT, WIDTH)).astype(np.float32), (0, 0), 30)
    vy, vx = np.gradient(well)
    sy, sx = np.gradient(swirl)
    velocity = np.stack([vx + sy, vy - sx], axis=-1)
    velocity *= 45 / np.sqrt((velocity**2).sum(axis=-1)).mean()
    carried = Carried(velocity.astype(np.float32), 1.2, rng)
    x, y = _grid()
    cover = ((x - 256) ** 2 / 220**2 + (y - 192) ** 2 / 160**2 < 1).astype(np.float32)
    return _water(carried, cover, _ground(rng), (0.3, 0.32, 0.33), 0.45)


def carousel(rng: np.random.Generator) -> Scene:
    """A turning floor with riders, seen from aslant: up to 25 pixels from frame to frame."""
    side = 1024
    disc = np.full((side, side, 3), 0.2, np.float32)
    disc *= np.exp(0.3 * noise_texture((side, side), rng, 0.9))[..., None]
    for ring in (0.42, 0.62, 0.84):
        count = int(26 * ring)
        for rider in range(count):
            angle = 2 * np.pi * (rider + rng.uniform(-0.2, 0.2)) / count
            middle = side / 2 * (1 + ring * np.array([np.cos(angle), np.sin(angle)]))
            colour = tuple(float(v) for v in rng.uniform(0.04, 0.8, 3))
            axes = (int(rng.uniform(16, 34)), int(rng.uniform(12, 22)))
            centre = (int(middle[0]), int(middle[1]))
            cv2.ellipse(disc, centre, axes, np.degrees(angle), 0, 360, colour, -1)
            cv2.circle(disc, centre, 7, tuple(float(v) for v in rng.uniform(0.1, 0.9, 3)), -1)
    disc = cv2.GaussianBlur(disc, (0, 0), 2.4)
    x, y = _grid()
    u, v = (x - 256) / 230, (y - 192) / 150
    radius = np.hypot(u, v)
    cover = cv2.GaussianBlur((radius < 0.97).astype(np.float32), (0, 0), 1.2)[..., None]
    ground = _ground(rng)
    turn_per_s = 0.85

    def look(time_s: float) -> Light:
        c, s = np.cos(turn_per_s * time_s), np.sin(turn_per_s * time_s)
        px, py = side / 2 * (1 + c * u + s * v), side / 2 * (1 - s * u + c * v)
        seen = cv2.remap(
            disc, px.astype(np.float32), py.astype(np.float32), cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT,
        )  # fmt: skip
        return ground + cover * (seen - ground)

    return look, radius < 0.95


# how each is drawn, its shutter and the time from start to start in seconds
SCENES: dict[str, tuple[Callable[[np.random.Generator], Scene], float, float]] = {
    "river": (river, 1 / 60, 1 / 5),
    "waterfall": (waterfall, 1 / 60, 1 / 5),
    "boiling water": (boiling, 1 / 60, 1 / 5),
    "carousel": (carousel, 1 / 15, 2 / 15),
}
