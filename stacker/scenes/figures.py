"""People on the quay: simple figures with clothes, a walk and a soft shadow.

A figure is painted once for each phase of its step, lit from the left, and then placed in the
picture at any size.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.scenes.scene import Light
from stacker.scenes.sky import Colour
from stacker.scenes.texture import Shape, ellipse, fractal_noise

PHASES = 12
# A figure's canvas against its height, and where its feet stand in it.
CANVAS_WIDE, FOOT_AT, CANVAS_TALL = 0.80, 1.04, 1.08
MOST_PX = 520

COATS: tuple[Colour, ...] = (
    (0.36, 0.05, 0.04), (0.05, 0.10, 0.24), (0.42, 0.30, 0.12), (0.06, 0.17, 0.11),
    (0.50, 0.48, 0.44), (0.06, 0.06, 0.07), (0.30, 0.12, 0.22), (0.16, 0.28, 0.36),
)  # fmt: skip
LEGS: tuple[Colour, ...] = (
    (0.035, 0.05, 0.11), (0.05, 0.045, 0.04), (0.22, 0.17, 0.11), (0.10, 0.11, 0.12),
)  # fmt: skip
SKINS: tuple[Colour, ...] = (
    (0.62, 0.40, 0.29), (0.45, 0.26, 0.17), (0.24, 0.13, 0.08), (0.55, 0.36, 0.24),
)  # fmt: skip
HAIRS: tuple[Colour, ...] = (
    (0.03, 0.02, 0.015), (0.12, 0.07, 0.03), (0.33, 0.22, 0.10), (0.30, 0.29, 0.28),
)  # fmt: skip


@dataclass(frozen=True)
class Sprite:
    """A figure in each phase of its step, and standing.

    ``steps`` is (PHASES + 1, h, w, 4): light already times cover, then cover; the last one stands.
    ``shadows`` is (PHASES + 1, h, w): the soft cover of its shadow before it is laid down.
    """

    steps: Light
    shadows: Light
    tall_px: float


def _limb(
    start: tuple[float, float],
    middle: tuple[float, float],
    end: tuple[float, float],
    widths: tuple[float, float, float],
) -> npt.NDArray[np.float64]:
    """Return the outline of a bent limb as a polygon."""
    points = np.array([start, middle, end])
    along = np.array([points[1] - points[0], points[2] - points[0], points[2] - points[1]])
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
    half = across * np.array(widths)[:, None] / 2
    return np.concatenate([points + half, (points - half)[::-1]])


def _leg(swing: float, hip: float) -> npt.NDArray[np.float64]:
    """Return a leg from the hip, swung forward (positive) or back, 1 being the whole height."""
    knee = (0.11 * swing + 0.02, -0.27)
    lift = 0.045 * max(0.0, -swing)
    foot = (0.20 * swing - 0.02 * (swing < 0), -0.03 - lift)
    leg = _limb((hip, -0.50), knee, foot, (0.115, 0.085, 0.055))
    toe = np.array(
        [
            [foot[0] - 0.02, foot[1] + 0.03],
            [foot[0] + 0.085, foot[1] + 0.03],
            [foot[0] + 0.06, foot[1] - 0.012],
        ]
    )
    return np.concatenate([leg[:3], toe[[2, 1, 0]], leg[3:]])


def _torso(coat_to: float) -> npt.NDArray[np.float64]:
    """Return the outline of a coat that reaches down to ``coat_to``, shoulders rounded."""
    right = [
        (0.030, -0.865), (0.075, -0.845), (0.115, -0.80), (0.112, -0.68),
        (0.098, -0.60), (0.108, -0.50), (0.118, coat_to),
    ]  # fmt: skip
    left = [(-x, y) for x, y in reversed(right)]
    return np.array(right + left)


def paint_figure(rng: np.random.Generator, tall_px: float, light: Colour) -> Sprite:
    """Return a figure about ``tall_px`` pixels tall in clothes chosen by ``rng``."""
    tall = float(min(tall_px, MOST_PX))
    width, height = int(np.ceil(CANVAS_WIDE * tall)), int(np.ceil(CANVAS_TALL * tall))
    coat = np.array(COATS[rng.integers(len(COATS))]) * rng.uniform(0.5, 0.9)
    legs = np.array(LEGS[rng.integers(len(LEGS))]) * rng.uniform(0.6, 1.0)
    skin = np.array(SKINS[rng.integers(len(SKINS))])
    hair = np.array(HAIRS[rng.integers(len(HAIRS))])
    coat_to = float(rng.uniform(-0.46, -0.30))
    cloth = 1 + 0.10 * fractal_noise((height, width), rng, max(tall / 9, 3), stretch=0.5)
    size = (width, height)
    # Light from the left falls off round the body.
    across = (np.arange(width, dtype=np.float32)[None, :] - width / 2) / (0.12 * tall)
    round_shade = (1.06 - 0.34 * np.tanh(1.2 * across)) * cloth
    steps, shadows = [], []
    for number in range(PHASES + 1):
        swing = np.sin(2 * np.pi * number / PHASES) if number < PHASES else 0.14
        picture = np.zeros((height, width, 4), np.float32)

        def draw(
            outline: npt.NDArray[np.float64],
            colour: npt.NDArray[np.float64],
            lit: float,
            picture: Light = picture,
        ) -> None:
            corners = outline * tall + [width / 2, FOOT_AT * tall]
            shape = Shape(size, corners)
            patch = picture[shape.rows, shape.columns]
            shade = lit * round_shade[shape.rows, shape.columns, None]
            paint = np.concatenate(
                [np.float32(colour * light) * shade, np.ones((*shape.cover.shape, 1), np.float32)],
                axis=2,
            )
            patch += shape.cover[..., None] * (paint - patch)

        far_arm = _limb(
            (-0.005, -0.80), (0.05 * swing, -0.65), (0.13 * swing + 0.03, -0.50), (0.07, 0.06, 0.05)
        )
        near_arm = _limb(
            (0.0, -0.80),
            (-0.06 * swing - 0.01, -0.65),
            (-0.14 * swing + 0.03, -0.50),
            (0.085, 0.07, 0.055),
        )
        draw(far_arm, coat, 0.62)
        draw(_leg(-swing, -0.01), legs, 0.66)
        draw(_leg(swing, 0.01), legs, 1.0)
        draw(_torso(coat_to), coat, 0.95)
        draw(np.array([[-0.03, -0.90], [0.035, -0.90], [0.04, -0.84], [-0.04, -0.84]]), skin, 0.75)
        draw(ellipse((0.0, -0.945), (0.062, 0.068)), hair, 1.0)
        draw(ellipse((0.016, -0.933), (0.047, 0.057)), skin, 1.0)
        draw(near_arm, coat, 1.12)
        hand = ellipse((-0.145 * swing + 0.03, -0.485), (0.022, 0.026))
        draw(hand, skin, 0.9)
        steps.append(picture)
        shadows.append(cv2.GaussianBlur(picture[..., 3], (0, 0), max(0.018 * tall, 0.6)))
    return Sprite(np.stack(steps), np.stack(shadows), tall)


def place_sprite(
    canvas: Light, sprite: Sprite, step: int, foot: tuple[float, float], tall_px: float,
    *, faces_left: bool,
) -> None:  # fmt: skip
    """Paint a figure ``tall_px`` tall with its feet at ``foot`` on ``canvas``, in place."""
    scale = tall_px / sprite.tall_px
    flip = -1.0 if faces_left else 1.0
    picture = sprite.steps[step]
    half = picture.shape[1] / 2
    matrix = np.array(
        [
            [flip * scale, 0, foot[0] - flip * scale * half],
            [0, scale, foot[1] - scale * FOOT_AT * sprite.tall_px],
        ]
    )
    patch = _warp_into(canvas, picture, matrix)
    if patch is not None:
        area, figure = patch
        area *= 1 - figure[..., 3:]
        area += figure[..., :3]


def place_shadow(
    canvas: Light, sprite: Sprite, step: int, foot: tuple[float, float], tall_px: float,
    *, lie: tuple[float, float], dark: Colour,
) -> None:  # fmt: skip
    """Darken the ground under a figure's shadow on ``canvas``, in place.

    ``lie`` is where the shadow of a point one figure tall falls, in heights right and down of
    the feet; ``dark`` the share of light that full shadow takes, by channel.
    """
    scale = tall_px / sprite.tall_px
    shadow = sprite.shadows[step]
    half, foot_row = shadow.shape[1] / 2, FOOT_AT * sprite.tall_px
    right, down = -lie[0] * scale, -lie[1] * scale
    # Thickness across the ground comes from the width; height runs along the shadow.
    matrix = np.array(
        [[0.8 * scale, right, foot[0] - 0.8 * scale * half - right * foot_row],
         [0.03 * scale, down, foot[1] - 0.03 * scale * half - down * foot_row]]
    )  # fmt: skip
    patch = _warp_into(canvas, shadow[..., None], matrix)
    if patch is not None:
        area, cover = patch
        area *= 1 - cover.reshape(*area.shape[:2], 1) * np.asarray(dark, np.float32)


def _warp_into(
    canvas: Light, picture: Light, matrix: npt.NDArray[np.float64]
) -> tuple[Light, Light] | None:
    """Return the patch of ``canvas`` that ``picture`` falls on, and the picture warped to it."""
    height, width = picture.shape[:2]
    corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1]]) @ matrix.T
    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
    high = np.minimum(
        np.ceil(corners.max(axis=0)).astype(int) + 2, [canvas.shape[1], canvas.shape[0]]
    )
    if np.any(high <= low):
        return None
    moved = matrix.copy()
    moved[:, 2] -= low
    size = (int(high[0] - low[0]), int(high[1] - low[1]))
    warped = np.asarray(cv2.warpAffine(picture, moved, size, flags=cv2.INTER_LINEAR), np.float32)
    return canvas[low[1] : high[1], low[0] : high[0]], warped
