"""The program's own stars scene as a burst with the truth that the benchmark of the sky needs."""

from __future__ import annotations

import cv2
import numpy as np

from stacker.light.srgb import srgb_to_linear
from stacker.scenes.camera import to_bytes
from stacker.scenes.scene import View
from stacker.scenes.stars import HORIZON_AT, TURN_RAD_S, Stars
from tests.benchmarks.simulated_skies import Array, Light, rotation

FRAMES, SHUTTER_S, INTERVAL_S = 12, 120.0, 126.0
CODE_LIGHT = srgb_to_linear(np.arange(256) / 255).astype(np.float32)


class StarsBurst:
    """Frames of the stars scene with its usual shutter, which draws trails of up to 5 px."""

    size = (960, 640)

    def __init__(self, seed: int) -> None:
        end = FRAMES * INTERVAL_S
        self.scene, self.seed = Stars(View(*self.size, seed=seed, duration_s=end)), seed
        self.focal = self.scene.focal_px
        self.clock = [number * INTERVAL_S for number in range(FRAMES)]

    def frames(self) -> list[Light]:
        """Return the frames as their JPEGs give them."""
        return [self._light(number) for number in range(FRAMES)]

    def _light(self, number: int) -> Light:
        start, camera = self.clock[number], self.scene.camera
        seen = camera.through_lens(self.scene.light(start, start + SHUTTER_S))
        rng = np.random.default_rng([self.seed, number])
        codes = to_bytes(camera.expose(seen, rng))
        _, data = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 94])
        return CODE_LIGHT[cv2.imdecode(data, cv2.IMREAD_COLOR)]

    def _turn(self, number: int) -> Array:
        """Return the turn of rays from time 0 to a frame's, (3, 3)."""
        axes = self.scene._axes
        return axes.T @ rotation(np.array([-TURN_RAD_S * self.clock[number], 0, 0])) @ axes

    def to_reference(self, place: Array, number: int, reference: int) -> Array:
        """Return where pixels (N, 2) of a frame lie in the reference: the truth."""
        centre = (np.array(self.size) - 1) / 2
        ray = np.column_stack([(place - centre) / self.focal, np.ones(len(place))])
        ray = ray @ self._turn(number) @ self._turn(reference).T
        return ray[:, :2] / ray[:, 2:] * self.focal + centre

    def sky_points(self, number: int, reference: int, side: int = 40) -> Array:
        """Return places of a frame in the sky that the reference sees as sky too, (N, 2)."""
        most = np.array([self.size[0] - 1, (HORIZON_AT - 0.05) * self.size[1]])
        x, y = np.linspace(0, most[0], side), np.linspace(0, most[1], side)
        grid = np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)
        there = self.to_reference(grid, number, reference)
        return grid[((there >= 0) & (there <= most)).all(axis=1)]
