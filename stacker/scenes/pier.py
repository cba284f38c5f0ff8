"""Ground seen in perspective, dressed stone, and the quay in the foreground of the harbour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.scenes.place import lit
from stacker.scenes.scene import Light, View
from stacker.scenes.sky import Mood
from stacker.scenes.texture import Shape, fractal_noise, relief, smoothstep


@dataclass(frozen=True)
class Ground:
    """A level plane seen by a level camera: metres to the right (x) and away (z) of the eye."""

    centre_px: float
    horizon_px: float
    focal_px: float
    eye_m: float

    def metres(self, view: View) -> tuple[Light, Light]:
        """Return x and z of each pixel below the horizon, (H, W) each; above it far away."""
        below = np.maximum(view.y - self.horizon_px, 0.25)
        z = np.broadcast_to(self.focal_px * self.eye_m / below, (view.height, view.width))
        return ((view.x - self.centre_px) * z / self.focal_px).astype(np.float32), z.astype(
            np.float32
        )

    def pixels(
        self, x: npt.ArrayLike, z: npt.ArrayLike, up: npt.ArrayLike = 0.0
    ) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
        """Return the pixel of points ``up`` metres above the ground."""
        scale = self.focal_px / np.asarray(z, np.float64)
        across = self.centre_px + scale * np.asarray(x, np.float64)
        return across, self.horizon_px + scale * (self.eye_m - np.asarray(up, np.float64))


def joint_cover(along: Light, joint: float, footprint: Light) -> Light:
    """Return the share of each pixel that a joint covers, for joints at whole numbers.

    ``along`` counts stones, ``joint`` is the width of a joint and ``footprint`` the size of a
    pixel, both in stones. Joints finer than a pixel fade to their mean instead of flickering.
    """
    away = np.abs(along - np.rint(along))
    soft = np.maximum(footprint, joint * 0.6)
    line = np.clip((joint / 2 + soft / 2 - away) / soft, 0, 1) * np.minimum(joint / soft, 1)
    far = smoothstep(0.25, 0.7, footprint)
    return (line * (1 - far) + joint * far).astype(np.float32)


def stone_tones(
    x: Light, z: Light, ground: Ground, stone_m: tuple[float, float], rng: np.random.Generator
) -> tuple[Light, Light]:
    """Return the tone of each stone (about 1) and the cover of joints, both (H, W).

    Stones of ``stone_m`` = (across, along) metres lie in courses, each shifted at random.
    """
    course = z / stone_m[1]
    row = np.floor(course).astype(np.int64)
    across = x / stone_m[0] + rng.random(97).astype(np.float32)[row % 97]
    number = np.floor(across).astype(np.int64)
    pixel_m = z / ground.focal_px
    wide = pixel_m / stone_m[0]
    deep = pixel_m * z / ground.eye_m / stone_m[1]
    joints = np.maximum(joint_cover(across, 0.05, wide), joint_cover(course, 0.05, deep))
    table = rng.normal(1, 0.13, (61, 53)).astype(np.float32)
    # Stones smaller than a pixel take the mean tone, so that the distance does not sparkle.
    fade = 1 - smoothstep(0.2, 0.8, np.maximum(wide, deep))
    return 1 + (table[row % 61, number % 53] - 1) * fade, joints


def paint_pier(view: View, mood: Mood) -> tuple[Light, Light]:
    """Return the stone quay at the lower left: its colour (H, W, 3) and cover (H, W)."""
    ground = Ground(0.10 * view.width, 0.50 * view.height, 0.95 * view.width, 2.6)
    x, z = ground.metres(view)
    rng = view.rng("pier")
    tone, joints = stone_tones(x, z, ground, (1.15, 0.62), rng)
    shape = (view.height, view.width)
    grain = fractal_noise(shape, rng, 9 * view.unit, stretch=1.6, gain=0.8)
    chips = relief(grain * 0.55 * view.unit, from_left=0.5, from_above=0.7)
    stain = smoothstep(-0.3, 1.6, fractal_noise(shape, rng, 60 * view.unit, stretch=2.5))
    shade = tone * (1 - 0.55 * joints) * (1 + 0.06 * grain) * (1 - 0.28 * stain)
    sun = np.clip(0.42 + 0.8 * chips, 0.05, 1.2)
    top = lit(np.array([0.46, 0.42, 0.37], np.float32) * shade[..., None], mood, sun)
    return _with_wall(view, mood, ground, top, grain)


def _with_wall(
    view: View, mood: Mood, ground: Ground, top: Light, grain: Light
) -> tuple[Light, Light]:
    """Return the quay's top with its dark wet wall towards the water."""
    size = (view.width, view.height)
    near, far, edge, back = 2.2, 15.0, 1.25, -30.0

    def corner(x: float, z: float, up: float) -> tuple[float, float]:
        px, py = ground.pixels(x, z, up)
        return float(px), float(py)

    deck = [
        corner(edge, near, 0),
        corner(edge, far, 0),
        corner(back, far, 0),
        corner(back, near, 0),
    ]
    wall = [
        corner(edge, near, 0),
        corner(edge, far, 0),
        corner(edge, far, -1.1),
        corner(edge, near, -1.1),
    ]
    colour = top
    cover = np.zeros((view.height, view.width), np.float32)
    courses = np.clip(0.75 + 0.25 * grain, 0.2, 1.4)
    side = Shape(size, wall)
    side.paint(colour, lit((0.16, 0.15, 0.12), mood, 0.18), shade=courses)
    for shape in (Shape(size, deck), side):
        patch = cover[shape.rows, shape.columns]
        np.maximum(patch, shape.cover, out=patch)
    return colour, cover
