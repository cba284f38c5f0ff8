"""Bursts of the night sky with exactly known motion, for the benchmark of registration.

A sphere of stars turns about a pole before a camera that stands still (or is touched). The lens
may bend the picture: a place at the pinhole's radius r lands at r (1 + k r^2), r in half
diagonals. Stars are Gaussians collected by pixels, drawn along their way while the shutter is
open. Clouds, a plane, hot pixels, a dark ground with lamps, sensor noise and 8-bit JPEG follow.

Source: counts of stars by magnitude follow about 10^(0.51 m) (C. W. Allen, Astrophysical
Quantities, 1973, section 116).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.srgb import linear_to_srgb, srgb_to_linear

Light = npt.NDArray[np.float32]
Array = npt.NDArray[np.float64]

CODE_LIGHT = srgb_to_linear(np.arange(256) / 255).astype(np.float32)
TURN_RAD_S = np.radians(15.041 / 3600)
SLOPE = 0.51
# stars on the whole sphere brighter than magnitude 6.5
COUNTED, COUNTED_TO = 9000, 6.5
PATCH = 6
MIXED = ((0, 0, 1), (1, 0, 0.25), (-1, 0, 0.25), (0, 1, 0.25), (0, -1, 0.25))


@dataclass(frozen=True)
class SkyScenario:
    """What a burst is like, and the figures it should reach: median, 95th percentile."""

    name: str
    frames: int = 12
    interval_s: float = 60.0
    shutter_s: float = 8.0
    focal_widths: float = 24 / 36
    pole_px: tuple[float, float] = (0.45, 0.4)  # shares of width and height; far beyond is well
    distortion: tuple[float, ...] = ()
    centre_off_px: tuple[float, float] = (0.0, 0.0)
    faintest: float = 7.6
    zero_light: float = 220.0  # light of a star of magnitude 0, in white pixels, at 1500 px
    width_px: float = 1.7  # full width at half maximum
    sky: float = 0.012
    full_well_e: float = 3000.0
    read_noise_e: float = 4.0
    hot_pixels: int = 60
    ground: float = 0.15
    clouds: float = 0.0
    plane: bool = False
    clock: str = "exact"  # "rounded" to whole seconds, "none"
    touched: tuple[int, ...] = ()
    odd: dict[int, str] = field(default_factory=dict)
    wanted: tuple[float, float] = (0.03, 0.05)
    refused: bool = False


class Sky:
    """One burst of a scenario; the same seed gives the same burst."""

    def __init__(self, scenario: SkyScenario, size: tuple[int, int], seed: int) -> None:
        self.scenario, self.size, self.seed = scenario, size, seed
        self.focal = scenario.focal_widths * size[0]
        self.half_diagonal = float(np.hypot(*size)) / 2
        self.centre = (np.array(size) - 1) / 2 + np.array(scenario.centre_off_px)
        rng = np.random.default_rng([seed, 1])
        # each burst has its pole a bit elsewhere
        share = np.array(scenario.pole_px) + rng.uniform(-0.04, 0.04, 2)
        pole = np.append(share * size - (np.array(size) - 1) / 2, self.focal)
        self.pole = pole / np.linalg.norm(pole)
        self.starts_s = np.arange(scenario.frames) * scenario.interval_s
        self._bumps = [np.eye(3)]
        for number in range(1, scenario.frames):
            bump = self._bumps[-1]
            if number in scenario.touched:
                bump = rotation(rng.normal(0, 0.01, 3)) @ bump
            self._bumps.append(bump)
        for number, what in scenario.odd.items():
            if what == "bumped":
                self._bumps[number] = rotation(rng.normal(0, 0.01, 3)) @ self._bumps[number]
        self._draw_stars(rng)
        self._draw_still(rng)

    @property
    def clock(self) -> list[float] | None:
        """The start of each frame as a file would tell it."""
        if self.scenario.clock == "none":
            return None
        rounded = self.scenario.clock == "rounded"
        return [float(np.floor(s + 0.3) if rounded else s) for s in self.starts_s]

    def _draw_stars(self, rng: np.random.Generator) -> None:
        scenario = self.scenario
        count = int(COUNTED * 10 ** (SLOPE * (scenario.faintest - COUNTED_TO)))
        ray = rng.standard_normal((count, 3))
        self.ray = ray / np.linalg.norm(ray, axis=1, keepdims=True)
        magnitude = scenario.faintest + np.log10(rng.uniform(1e-9, 1, count)) / SLOPE
        flux = scenario.zero_light * (self.size[0] / 1500) ** 2 * 10 ** (-0.4 * magnitude)
        warm = np.clip(rng.normal(0, 0.5, count), -1, 1.3)[:, None]
        self.energy = flux[:, None] * np.clip(1 + warm * [0.24, -0.03, -0.36], 0.2, None)

    def _draw_still(self, rng: np.random.Generator) -> None:
        width, height = self.size
        x = np.arange(width)
        hills = sum(
            rng.uniform(0.2, 1) * np.sin(x / width * w + rng.uniform(0, 6)) for w in (5, 11, 23)
        )
        top = height * (1 - self.scenario.ground) + 0.02 * height * hills
        self.ground = np.arange(height)[:, None] > top
        if not self.scenario.ground:
            self.ground[:] = False
        self.lamps = np.stack([rng.uniform(0, width, 12), rng.uniform(0.9, 1, 12) * height], axis=1)
        hot = self.scenario.hot_pixels
        self.hot = np.stack([rng.integers(0, width, hot), rng.integers(0, height, hot)], axis=1)
        self.hot_light = rng.uniform(0.03, 0.8, (hot, 1)) * np.eye(3)[rng.integers(0, 3, hot)]

    def turn(self, seconds: float, number: int) -> Array:
        """Return the turn that takes rays at time 0 to the camera's at ``seconds``, (3, 3)."""
        return self._bumps[number] @ rotation(self.pole * -TURN_RAD_S * seconds)

    def project(self, ray: Array) -> Array:
        """Return pixels (N, 2) of rays (N, 3); far outside where they lie behind."""
        z = np.where(ray[:, 2] > 0.1, ray[:, 2], np.nan)
        flat = ray[:, :2] / z[:, None] * self.focal
        r = np.linalg.norm(flat, axis=1) / self.half_diagonal
        # a lens that bends inward must not bring back what lies far outside
        scale = np.where(r < 1.35, self._bent(r), np.nan)
        place = flat * scale[:, None] + self.centre
        return np.nan_to_num(place, nan=-1e5)

    def _bent(self, r: Array) -> Array:
        terms = enumerate(self.scenario.distortion, start=1)
        return np.ones_like(r) + sum(k * r ** (2 * n) for n, k in terms)

    def rays(self, place: Array) -> Array:
        """Return unit rays (N, 3) of pixels (N, 2): the inverse of ``project``."""
        flat = (place - self.centre) / self.half_diagonal
        bent = np.linalg.norm(flat, axis=1)
        r = bent.copy()
        for _ in range(60):
            r = bent / self._bent(r)
        scale = np.divide(r, bent, out=np.ones_like(r), where=bent > 0)
        flat = flat * scale[:, None] * self.half_diagonal / self.focal
        ray = np.column_stack([flat, np.ones(len(flat))])
        return ray / np.linalg.norm(ray, axis=1, keepdims=True)

    def middle(self, number: int) -> Array:
        """Return the turn in the middle of a frame's exposure, (3, 3)."""
        return self.turn(self.starts_s[number] + self.scenario.shutter_s / 2, number)

    def to_reference(self, place: Array, number: int, reference: int) -> Array:
        """Return where pixels (N, 2) of a frame lie in the reference: the truth."""
        return self.project(self.rays(place) @ self.middle(number) @ self.middle(reference).T)

    def sky_points(self, number: int, reference: int, side: int = 40) -> Array:
        """Return places of a frame in the sky that the reference sees as sky too, (N, 2)."""
        width, height = self.size
        grid = np.stack(
            np.meshgrid(np.linspace(0, width - 1, side), np.linspace(0, height - 1, side)), -1
        ).reshape(-1, 2)

        def seen(place: Array) -> npt.NDArray[np.bool_]:
            inside = ((place >= 0) & (place <= np.array(self.size) - 1)).all(axis=1)
            column, row = (np.clip(place, 0, np.array(self.size) - 1).astype(int)).T
            return inside & ~self.ground[row, column]

        grid = grid[seen(grid)]
        return grid[seen(self.to_reference(grid, number, reference))]

    @cached_property
    def _cloud_field(self) -> Light:
        rng = np.random.default_rng([self.seed, 2])
        field_ = np.zeros((self.size[1], 2 * self.size[0]), np.float32)
        for cell, strength in ((200, 1.0), (80, 0.5), (30, 0.2)):
            small = rng.standard_normal((self.size[1] // cell + 2, 2 * self.size[0] // cell + 2))
            field_ += strength * cv2.resize(
                small.astype(np.float32), field_.shape[::-1], interpolation=cv2.INTER_CUBIC
            )
        return field_

    def lights(self) -> list[Light]:
        """Return all frames."""
        return [self.light(number) for number in range(self.scenario.frames)]

    def light(self, number: int) -> Light:
        """Return frame ``number`` as a camera's JPEG gives it, linear float32 (H, W, 3)."""
        scenario = self.scenario
        rng = np.random.default_rng([self.seed, 3, number])
        odd = scenario.odd.get(number)
        width, height = self.size
        start = self.starts_s[number]
        picture = np.zeros((height, width, 3), np.float32)
        steps = np.linspace(0, 1, 5 if odd != "trailed" else 25)
        for step in steps:
            turn = self.turn(start + step * scenario.shutter_s, number)
            if odd == "trailed":
                turn = rotation(np.array([0.012, 0.006, 0]) * step) @ turn
            place = self.project(self.ray @ turn.T)
            self._add(picture, place, self.energy / len(steps))
        if odd == "away":
            picture = np.ascontiguousarray(picture[:, ::-1])
            picture = np.roll(picture, (height // 3, width // 3), (0, 1))
        picture += np.array([0.8, 1.0, 1.25], np.float32) * np.float32(scenario.sky)
        cover = 1.2 if odd in ("clouded", "overcast") else scenario.clouds
        if cover:
            self._cloud(picture, number, cover, 1.0 if odd == "overcast" else 0.97)
        if scenario.plane:
            self._fly(picture, number, rng)
        picture[self.ground] = 0.001
        if not self.scenario.ground:
            return self._record(picture, rng)
        lamps = np.full((len(self.lamps), 3), 30.0) * [1, 0.7, 0.3]
        self._add(picture, self.lamps, lamps)
        return self._record(picture, rng)

    def _add(self, picture: Light, place: Array, energy: Array) -> None:
        width, height = self.size
        sigma = self.scenario.width_px / 2.3548
        near = ((place > -PATCH) & (place < np.array([width, height]) + PATCH)).all(axis=1)
        place, energy = place[near], energy[near]
        base = np.rint(place).astype(int)
        offset = np.arange(-PATCH, PATCH + 1)
        edges = np.arange(-PATCH, PATCH + 2) - 0.5
        share = []
        for axis in (0, 1):
            z = (edges - (place[:, axis] - base[:, axis])[:, None]) / sigma
            share.append(np.diff(normal_cdf(z), axis=1))
        for star in range(len(place)):
            x, y = base[star, 0] + offset, base[star, 1] + offset
            kx, ky = (x >= 0) & (x < width), (y >= 0) & (y < height)
            if not (kx.any() and ky.any()):
                continue
            patch = np.outer(share[1][star][ky], share[0][star][kx])[..., None] * energy[star]
            picture[y[ky][0] : y[ky][-1] + 1, x[kx][0] : x[kx][-1] + 1] += patch

    def _cloud(self, picture: Light, number: int, cover: float, thick: float) -> None:
        shift = int(7 * number) % self.size[0]
        view = self._cloud_field[:, shift : shift + self.size[0]]
        cut = -9.0 if cover >= 1 else float(np.quantile(self._cloud_field, 1 - cover))
        depth = np.clip((view - cut) / 0.6, 0, 1)[..., None]
        picture *= 1 - np.float32(thick) * depth
        picture += depth * np.array([0.05, 0.045, 0.04], np.float32) * (1 + 0.2 * view[..., None])

    def _fly(self, picture: Light, number: int, rng: np.random.Generator) -> None:
        width, height = self.size
        along = np.linspace(0, 1, 400)[:, None]
        start = np.array([width * (number % 5) / 5, height * 0.2])
        way = start + along * [width / 5, height * 0.15]
        blink = (np.sin(along * 60) > 0.8) * 0.3 + 0.02
        self._add(picture, way, blink * np.ones((1, 3)))

    def _record(self, picture: Light, rng: np.random.Generator) -> Light:
        full = self.scenario.full_well_e
        variance = np.maximum(picture, 0) / full + (self.scenario.read_noise_e / full) ** 2
        picture = picture + rng.standard_normal(picture.shape, np.float32) * np.sqrt(variance)
        # a camera mixes a hot pixel into its neighbours where it fills in the colours
        for (x, y), light in zip(self.hot, self.hot_light, strict=True):
            for dx, dy, share in MIXED:
                if 0 <= x + dx < self.size[0] and 0 <= y + dy < self.size[1]:
                    picture[y + dy, x + dx] += np.asarray(light * share, np.float32)
        codes = np.rint(linear_to_srgb(np.clip(picture, 0, 1)) * 255).astype(np.uint8)
        _, data = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 94])
        return CODE_LIGHT[cv2.imdecode(data, cv2.IMREAD_COLOR)]


def normal_cdf(z: Array) -> Array:
    """Return the normal distribution function, good to 2e-7.

    Source: M. Abramowitz and I. Stegun, Handbook of Mathematical Functions (1964), 7.1.26.
    """
    x = np.abs(z) / np.sqrt(2)
    t = 1 / (1 + 0.3275911 * x)
    tail = t * (
        0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429)))
    )
    erf = 1 - tail * np.exp(-x * x)
    return 0.5 * (1 + np.sign(z) * erf)


def rotation(vector: Array) -> Array:
    """Return the turn about a vector by its length in radians, (3, 3)."""
    matrix, _ = cv2.Rodrigues(np.asarray(vector, np.float64))
    return matrix
