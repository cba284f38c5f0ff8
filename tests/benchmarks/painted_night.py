"""A night painted with a lamp: three passes of known light, before a scene that stays.

The lamp runs along curves and is out between passes; its spill lights the ground softly, and a
painter, darker than the scene, stands beside it. The truth is what the strokes alone would leave.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from stacker.light.encoding import LightArray
from stacker.light.srgb import linear_to_srgb
from stacker.scenes.streaks import LampLayer
from tests.bursts import START, exif_block

# frames of each pass, counted from 0, and the colour of its lamp
PASSES = (
    ((2, 3, 4, 5), (1.0, 0.85, 0.6)),
    ((8, 9, 10), (0.5, 0.8, 1.0)),
    ((13, 14), (1, 0.5, 0.3)),
)
FRAMES = 17
FULL_WELL, READ = 20000.0, 4.0


@dataclass(frozen=True)
class PaintedNight:
    """A burst of ``FRAMES`` frames; the same seed gives the same one."""

    size: tuple[int, int] = (360, 240)
    seed: int = 1

    @property
    def scene(self) -> LightArray:
        """The scene without lamp and painter, float32 (H, W, 3)."""
        width, height = self.size
        rng = np.random.default_rng([self.seed, 1])
        soft = cv2.GaussianBlur(rng.standard_normal((height, width)).astype(np.float32), (0, 0), 6)
        level = 0.012 + 0.05 * np.abs(soft)
        level[int(0.7 * height) :] *= 1.6
        return np.asarray(level[..., None] * np.array([0.8, 1.0, 1.3]), np.float32)

    def way(self, number: int, share: np.ndarray) -> np.ndarray:
        """Return where the lamp of a pass is at shares of it, px (N, 2)."""
        width, height = self.size
        x = 0.12 + 0.27 * number + 0.22 * share
        y = 0.55 - 0.25 * np.sin(np.pi * (share + 0.15 * number)) + 0.05 * number
        return np.stack([x * width, y * height], -1)

    def lamp(self, frame: int) -> LightArray:
        """Return the lamp's light in a frame, float32 (H, W, 3)."""
        width, height = self.size
        layer = LampLayer(width, height)
        spill = np.zeros((height, width), np.float32)
        colour = np.ones(3)
        for number, (frames, hue) in enumerate(PASSES):
            if frame not in frames:
                continue
            k = frames.index(frame)
            place = self.way(number, (k + np.linspace(0, 1, 600)) / len(frames))
            colour = np.array(hue)
            length = float(np.linalg.norm(np.diff(place, axis=0), axis=1).sum())
            energy = np.full((600, 1), 1.6 * length / 600) * colour
            layer.add(place[:, 0], place[:, 1], energy)
            y, x = np.mgrid[0:height, 0:width]
            middle = place[300]
            far = (x - middle[0]) ** 2 + 4 * (y - 0.8 * height) ** 2
            spill = 0.05 * np.exp(-far / (0.12 * width) ** 2).astype(np.float32)
        return np.asarray(layer.spread(1.2) + spill[..., None] * colour, np.float32)

    def truth(self, factors: tuple[tuple[float, ...], ...]) -> LightArray:
        """Return the ideal picture with each pass's light times factors of (R, G, B) or one."""
        scene = self.scene
        picture = scene.copy()
        for (frames, _), factor in zip(PASSES, factors, strict=True):
            for frame in frames:
                gains = np.array(factor, np.float32)
                np.maximum(picture, scene + gains * self.lamp(frame), out=picture)
        return np.clip(picture, 0, 1)

    def write(self, folder: Path) -> None:
        """Write the frames as JPEGs."""
        folder.mkdir(parents=True)
        for frame in range(FRAMES):
            light = self.scene + self.lamp(frame)
            self._hide(light, frame)
            rng = np.random.default_rng([self.seed, 2, frame])
            noise = np.sqrt(light / FULL_WELL + (READ / FULL_WELL) ** 2)
            light = light + rng.standard_normal(light.shape, np.float32) * noise
            codes = np.rint(linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)
            exif = exif_block(START + frame * (START.resolution * 1_000_000), 1.0)
            path = folder / f"KP_{frame + 1:04d}.jpg"
            Image.fromarray(codes).save(path, quality=95, subsampling=0, exif=exif)

    def _hide(self, light: LightArray, frame: int) -> None:
        """Put the painter into a frame, dark, beside the lamp."""
        for number, (frames, _) in enumerate(PASSES):
            if frame in frames:
                share = (frames.index(frame) + 0.5) / len(frames)
                x, _ = self.way(number, np.array([share]))[0].astype(int)
                height = self.size[1]
                light[int(0.62 * height) : int(0.95 * height), max(0, x - 22) : x - 8] *= 0.3
