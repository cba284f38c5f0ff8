"""Nights whose stars trail while the shutter is open, with the sliding exposure as the truth.

The sky moves in small steps of time. The light of a frame is the sum of its steps; the truth is the
greatest sum of as many steps that begin anywhere, which is what a shutter without gaps that slides
along would show at every moment. Stars are chosen by their strength: the height of their trail
over the noise of one frame's pixel.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from stacker.bridge.base import Exposed
from tests.benchmarks.simulated_skies import Array, Light, Sky, SkyScenario, normal_cdf

PATCH = 6
# the sky's colour; its level is the scenario's
SKY_COLOUR = np.array([0.8, 1.0, 1.25], np.float32)
GROUND_LIGHT = 0.001


@dataclass(frozen=True)
class Night:
    """What a night is like.

    ``gap`` is that between frames in shares of the shutter, ``long_gaps`` says the gaps after some
    frames by themselves. ``strengths`` are the least and the greatest of the stars, ``stars`` how
    many there are; ``steps`` how many steps of time make an exposure.
    """

    name: str
    gap: float = 0.2
    long_gaps: dict[int, float] = field(default_factory=dict)
    strengths: tuple[float, float] = (20.0, 150.0)
    stars: int = 90
    frames: int = 12
    shutter_s: float = 240.0
    steps: int = 40
    pole_px: tuple[float, float] = (0.45, 0.4)
    focal_widths: float = 24 / 36
    distortion: tuple[float, ...] = (-0.03,)
    width_px: float = 1.9
    clouds: float = 0.0
    ground: float = 0.15
    hot_pixels: int = 60
    sky: float = 0.012
    size: tuple[int, int] = (720, 480)

    @property
    def first_steps(self) -> list[int]:
        """Return the step with which each frame begins."""
        starts, now = [], 0
        for number in range(self.frames):
            starts.append(now)
            gap = self.long_gaps.get(number, self.gap)
            now += self.steps + round(gap * self.steps)
        return starts


class TrailedNight:
    """One burst of a night; the same seed gives the same burst."""

    def __init__(self, night: Night, seed: int) -> None:
        self.night, self.seed = night, seed
        scenario = SkyScenario(
            night.name, frames=night.frames, shutter_s=night.shutter_s, pole_px=night.pole_px,
            focal_widths=night.focal_widths, distortion=night.distortion, ground=night.ground,
            hot_pixels=night.hot_pixels, width_px=night.width_px, sky=night.sky,
        )  # fmt: skip
        self.sky = Sky(scenario, night.size, seed)
        self.step_s = night.shutter_s / night.steps
        self.noise = float(np.hypot((night.sky / scenario.full_well_e) ** 0.5,
                                    scenario.read_noise_e / scenario.full_well_e))  # fmt: skip
        self._draw_stars(np.random.default_rng([seed, 11]))
        still = np.ones((*night.size[::-1], 3), np.float32) * SKY_COLOUR * np.float32(night.sky)
        still[self.sky.ground] = GROUND_LIGHT
        if night.ground:
            lamps = np.full((len(self.sky.lamps), 3), 30.0) * [1, 0.7, 0.3]
            self.sky._add(still, self.sky.lamps, lamps)
        self.still: Light = np.clip(still, 0, 1)

    @property
    def exposed(self) -> list[Exposed]:
        """When each frame was exposed."""
        return [
            Exposed(first * self.step_s, self.night.shutter_s) for first in self.night.first_steps
        ]

    @property
    def last_step(self) -> int:
        """How many steps the burst takes."""
        return self.night.first_steps[-1] + self.night.steps

    def _draw_stars(self, rng: np.random.Generator) -> None:
        """Draw stars that stand in the picture at some time of the burst."""
        night = self.night
        share = rng.uniform(0, 1, (night.stars, 2))
        place = share * night.size
        when = rng.uniform(0, self.last_step * self.step_s, night.stars)
        rays = self.sky.rays(place)
        self.ray = np.stack(
            [ray @ self.sky.turn(float(t), 0) for ray, t in zip(rays, when, strict=True)]
        )
        low, high = np.log(night.strengths)
        self.strength = np.exp(rng.uniform(low, high, night.stars))
        half = night.shutter_s / 2
        ends = [
            self.sky.project(np.stack([r @ self.sky.turn(float(t + s), 0).T
                                       for r, t in zip(self.ray, when, strict=True)]))
            for s in (-half, half)
        ]  # fmt: skip
        length = np.maximum(np.linalg.norm(ends[1] - ends[0], axis=1), 1e-3)
        sigma = np.hypot(night.width_px / 2.3548, 12**-0.5)
        inside = 2 * normal_cdf(length / 2 / sigma) - 1
        peak = inside / length / (np.sqrt(2 * np.pi) * sigma)
        warm = np.clip(rng.normal(0, 0.5, night.stars), -1, 1.3)[:, None]
        colour = np.clip(1 + warm * [0.24, -0.03, -0.36], 0.2, None)
        self.energy = (self.strength * self.noise / peak)[:, None] * colour

    def place(self, step: float) -> Array:
        """Return where the stars are at a moment, in steps, px (N, 2)."""
        return self.sky.project(self.ray @ self.sky.turn(step * self.step_s, 0).T)

    def _moments(self) -> Iterator[Light]:
        """Give the stars' light of each step."""
        for step in range(self.last_step):
            yield self._drawn(self.place(step + 0.5), self.energy / self.night.steps)

    def _drawn(self, place: Array, energy: Array) -> Light:
        """Return points of light as pixels collect them, not before the ground."""
        width, height = self.night.size
        sigma = self.night.width_px / 2.3548
        near = ((place > -PATCH) & (place < np.array([width, height]) - 1 + PATCH)).all(axis=1)
        place, energy = place[near], energy[near]
        base = np.rint(place).astype(int)
        edges = np.arange(-PATCH, PATCH + 2) - 0.5
        across, down = (
            np.diff(normal_cdf((edges - (place[:, axis] - base[:, axis])[:, None]) / sigma))
            for axis in (0, 1)
        )
        offset = np.arange(-PATCH, PATCH + 1)
        # a margin takes what falls beside the picture
        wide = width + 4 * PATCH
        rows = (base[:, 1, None] + offset + 2 * PATCH)[:, :, None]
        columns = (base[:, 0, None] + offset + 2 * PATCH)[:, None, :]
        number = (rows * wide + columns).ravel()
        weight = (down[:, :, None] * across[:, None, :]).reshape(len(place), -1)
        total = (height + 4 * PATCH) * wide
        channels = [
            np.bincount(number, (weight * energy[:, c, None]).ravel(), total) for c in range(3)
        ]
        inner = slice(2 * PATCH, -2 * PATCH)
        light = np.stack(channels, -1).reshape(-1, wide, 3)[inner, inner].astype(np.float32)
        light[self.sky.ground] = 0
        return light

    @cached_property
    def _made(self) -> tuple[list[Light], Light]:
        """The frames' light of stars, and the truth's."""
        night = self.night
        firsts = set(night.first_steps)
        held: deque[Light] = deque()
        running = np.zeros((*night.size[::-1], 3), np.float32)
        truth = np.zeros_like(running)
        frames = []
        for step, light in enumerate(self._moments()):
            held.append(light)
            running += light
            if len(held) > night.steps:
                running -= held.popleft()
            if len(held) == night.steps:
                np.maximum(truth, running, out=truth)
                if step + 1 - night.steps in firsts:
                    frames.append(running.copy())
        return frames, truth

    @property
    def truth(self) -> Light:
        """The sliding exposure, without noise, float32 (H, W, 3)."""
        return np.clip(self.still + self._made[1], 0, 1)

    def lights(self) -> list[Light]:
        """Return the frames as a camera's JPEGs give them."""
        frames = []
        for number, stars in enumerate(self._made[0]):
            picture = self.still + stars
            if self.night.clouds:
                ground = picture[self.sky.ground]
                self.sky._cloud(picture, number, self.night.clouds, 0.97)
                picture[self.sky.ground] = ground
            rng = np.random.default_rng([self.seed, 12, number])
            frames.append(np.ascontiguousarray(self.sky._record(picture, rng)))
        return frames

    def quick(self, number: int) -> Light:
        """Return a frame with even noise and without coding, for large pictures."""
        first, steps = self.night.first_steps[number], self.night.steps
        place = np.concatenate([self.place(first + step + 0.5) for step in range(steps)])
        light = self.still + self._drawn(place, np.tile(self.energy / steps, (steps, 1)))
        rng = np.random.default_rng([self.seed, 13, number])
        light += rng.standard_normal(light.shape, np.float32) * np.float32(self.noise)
        return np.clip(light, 0, 1, out=light)
