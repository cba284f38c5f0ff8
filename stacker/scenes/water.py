"""Tide water: travelling waves that break up the reflection of the picture above them.

The surface is a sum of plane waves with the speeds of deep water. A slope towards or away from
the viewer moves the place that is reflected up or down, one to the side moves it sideways. The
sun, far brighter than white in the mirrored picture, glitters by itself where a slope finds it.

Waves too small for the pixels are left out of the moving part (they would alias) and blur the
mirrored picture instead.

Source: deep-water dispersion, omega^2 = g k (G. B. Airy, "Tides and waves", 1845).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from stacker.scenes.scene import Light, View, time_cells
from stacker.scenes.sky import Colour
from stacker.scenes.texture import smoothstep

GRAVITY = 9.81
# Pixels of wave tables kept between exposures; larger pictures are worked in strips of this size.
STRIP_PIXELS = 1_200_000
# Pixels multiplied at once.
PRODUCT_PIXELS = 8192
# Moments at which the reflection of moving lights holds the waves.
HELD_MOMENTS_S = (0.0, 1.3)


@dataclass(frozen=True)
class Sea:
    """How the water behaves.

    ``swing`` is the greatest shift of the reflection, as a share of the picture's height;
    ``waves_m`` the shortest and longest wave; ``cell_s`` the time for which it stands still.
    """

    body: Colour
    swing: float = 0.16
    waves_m: tuple[float, float] = (0.7, 11.0)
    count: int = 18
    eye_m: float = 6.0
    cell_s: float = 1 / 16
    mirror_near: float = 0.34
    mirror_far: float = 0.86


class Water:
    """Water from the row of the horizon down, mirroring a still picture."""

    def __init__(self, view: View, sea: Sea, horizon: float, above: Light) -> None:
        self.view = view
        self.sea = sea
        self.top = int(np.ceil(horizon))
        self.horizon = horizon
        self.rows = view.height - self.top
        self._mirror = self._mirrored(above)
        self._set_waves()
        depth = (np.arange(self.rows, dtype=np.float32) + 0.5) / max(self.rows, 1)
        share = sea.mirror_far + (sea.mirror_near - sea.mirror_far) * depth**0.6
        self._share = share[:, None].astype(np.float32)
        self._table = self._wave_table(0, self.rows) if self._fits() else None

    def _fits(self) -> bool:
        return self.rows * self.view.width <= STRIP_PIXELS

    def _mirrored(self, above: Light) -> Light:
        """Return the picture above the water upside down, smeared by the smallest waves."""
        flipped = np.ascontiguousarray(above[: self.top][::-1])
        sigma = 0.006 * self.view.height
        smeared = cv2.GaussianBlur(flipped, (0, 0), sigmaX=0.4 * sigma, sigmaY=sigma)
        return np.asarray(smeared, np.float32)

    def _set_waves(self) -> None:
        """Choose length, direction and phase of each wave; most run towards the viewer's left."""
        rng = self.view.rng("waves")
        sea = self.sea
        spread = np.linspace(0, 1, sea.count)
        length = sea.waves_m[0] * (sea.waves_m[1] / sea.waves_m[0]) ** spread
        length *= rng.uniform(0.92, 1.08, sea.count)
        heading = np.radians(-62) + rng.normal(0, 0.55, sea.count)
        number = 2 * np.pi / length
        self._kx = (number * np.cos(heading)).astype(np.float32)
        self._kz = (number * np.sin(heading)).astype(np.float32)
        self._omega = np.sqrt(GRAVITY * number)
        self._phase = rng.uniform(0, 2 * np.pi, sea.count).astype(np.float32)
        slope = rng.uniform(0.7, 1.3, sea.count)
        slope *= 1 / np.sqrt(np.sum(slope**2) / 2)
        # The share of each slope that tilts the surface sideways and towards the viewer.
        self._tilt = np.stack([slope * np.cos(heading), slope * np.sin(heading)])

    def _wave_table(self, first: int, last: int) -> Light:
        """Return cosine and sine of each wave's phase at rows of the water, (2 n, pixels).

        Each is faded where the wave is shorter than some pixels.
        """
        view, sea = self.view, self.sea
        focal = np.float32(1.1 * np.sqrt(view.width * view.height * 1.5))
        row = np.arange(first, last, dtype=np.float32)[:, None] + 0.5 + 0.004 * view.height
        far = focal * sea.eye_m / row
        across = (view.x - view.width / 2) * far / focal
        table = np.empty((2 * sea.count, (last - first) * view.width), np.float32)
        for i in range(sea.count):
            phase = self._kx[i] * across + self._kz[i] * far + self._phase[i]
            # Radians of phase from one pixel to the next, down and across.
            down = np.abs(self._kz[i]) * far / row
            step = np.sqrt(down**2 + (self._kx[i] * far / focal) ** 2)
            fade = np.exp(-0.5 * (step / 0.9) ** 2)
            table[i] = (np.cos(phase) * fade).ravel()
            table[sea.count + i] = (np.sin(phase) * fade).ravel()
        return table

    def light(self, t0: float, t1: float) -> Light:
        """Return the mean light of the water, float32 (rows, W, 3), from ``t0`` to ``t1``."""
        if self._table is not None:
            return self._strip(t0, t1, 0, self.rows, self._table)
        strip = max(1, STRIP_PIXELS // self.view.width)
        parts = []
        for first in range(0, self.rows, strip):
            last = min(first + strip, self.rows)
            parts.append(self._strip(t0, t1, first, last, self._wave_table(first, last)))
        return np.concatenate(parts)

    def _strip(self, t0: float, t1: float, first: int, last: int, table: Light) -> Light:
        view = self.view
        rows = last - first
        row = np.arange(first, last, dtype=np.float32)[:, None]
        # Near the shore the reflection stays close to what it reflects.
        swing = self.sea.swing * view.height * smoothstep(-0.02, 0.55, (row + 0.5) / self.rows)
        total = np.zeros((rows, view.width, 3), np.float32)
        tone = np.zeros((rows, view.width), np.float32)
        x = np.broadcast_to(view.x, (rows, view.width))
        cells = time_cells(t0, t1, self.sea.cell_s)
        for middle, share in zip(cells.middle_s, cells.share, strict=True):
            side, toward = self._slopes(table, middle).reshape(2, rows, view.width)
            up = np.abs(row + swing * (toward + 0.35))
            seen = cv2.remap(
                self._mirror, x + 0.35 * swing * side, up, cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REFLECT_101,
            )  # fmt: skip
            total += np.float32(share) * seen
            tone += np.float32(share) * toward
        # Water facing the viewer mirrors less and shows more of its own colour.
        mirrored = self._share[first:last]
        body = np.asarray(self.sea.body, np.float32) * (1 - 0.22 * tone[..., None])
        return total * mirrored[..., None] + (1 - mirrored[..., None]) * body

    def mirror_moving(self, above: Light) -> Light:
        """Return the reflection of moving lights ``above`` (H, W, 3), float32 (rows, W, 3).

        The waves are held at a few fixed moments, so that the reflection is linear in the light
        and exposures add up.
        """
        # Half the size is enough for what is about to be smeared.
        half = (max(1, self.view.width // 2), max(1, self.top // 2))
        flipped = cv2.resize(above[: self.top], half, interpolation=cv2.INTER_AREA)[::-1]
        sigma = 0.004 * self.view.height
        flipped = cv2.GaussianBlur(flipped, (0, 0), sigmaX=0.4 * sigma, sigmaY=sigma)
        total = np.zeros((self.rows, self.view.width, 3), np.float32)
        for x, up in self._held:
            total += cv2.remap(flipped, x, up, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
        return total * (self._share[..., None] / np.float32(len(self._held)))

    @cached_property
    def _held(self) -> list[tuple[Light, Light]]:
        """Where the reflection looks at the fixed moments: x and row of the halved mirror."""
        view = self.view
        row = np.arange(self.rows, dtype=np.float32)[:, None]
        swing = self.sea.swing * view.height * smoothstep(-0.02, 0.55, (row + 0.5) / self.rows)
        table = self._table if self._table is not None else self._wave_table(0, self.rows)
        looks = []
        for moment in HELD_MOMENTS_S:
            side, toward = self._slopes(table, moment).reshape(2, self.rows, view.width)
            x = view.x + 0.35 * swing * side
            up = np.abs(row + swing * (toward + 0.35))
            halves = (0.5 * x - 0.25, 0.5 * up - 0.25)
            looks.append((halves[0].astype(np.float32), halves[1].astype(np.float32)))
        return looks

    def _slopes(self, table: Light, t: float) -> Light:
        """Return the sideways and forward slopes at time ``t``, (2, pixels), spread about 1."""
        turn = self._omega * t
        weights = np.concatenate([self._tilt * np.cos(turn), self._tilt * np.sin(turn)], axis=1)
        weights = weights.astype(np.float32)
        slopes = np.empty((2, table.shape[1]), np.float32)
        # Small pieces stay in the cache, and are too small for the library to spread over
        # threads of its own, which would get in the way of the workers'.
        for first in range(0, table.shape[1], PRODUCT_PIXELS):
            piece = slice(first, first + PRODUCT_PIXELS)
            slopes[:, piece] = weights @ table[:, piece]
        return slopes
