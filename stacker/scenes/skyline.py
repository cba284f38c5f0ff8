"""What stands out against the sky on the headland: pines, roofs, and a mast."""

from __future__ import annotations

import numpy as np

from stacker.scenes.place import Shore, lit, outline
from stacker.scenes.scene import View
from stacker.scenes.sky import Colour, Mood
from stacker.scenes.texture import Shape

PINE: Colour = (0.10, 0.13, 0.07)
BARK: Colour = (0.12, 0.09, 0.07)
ROOF: Colour = (0.17, 0.17, 0.19)
WALL: Colour = (0.40, 0.36, 0.30)
STEEL: Colour = (0.20, 0.20, 0.22)
# where they stand, as shares of the width, and how tall they are, as shares of the height
PINES, PINE_TALL = ((0.630, 0.690), (0.790, 0.875)), (0.035, 0.075)
HOUSES, HOUSE_WIDE = (0.725, 0.930, 0.975), (0.030, 0.042)
MAST_AT, MAST_TALL, MAST_WIDE = 0.765, 0.135, 0.0019
# a pine has so many whorls of branches, and one stands about this far from the next
WHORLS, PINE_APART = 7, 0.0085


def plant_skyline(view: View, mood: Mood, shore: Shore) -> None:
    """Paint pines, roofs and a mast on the crest of the headland, and count them as land."""
    crest = shore.horizon - outline(view)[0]
    rng = view.rng("skyline")
    for left, right in PINES:
        for u in np.arange(left, right, PINE_APART):
            _pine(view, mood, shore, rng, crest, u + rng.uniform(-0.3, 0.3) * PINE_APART)
    for u in HOUSES:
        _roof(view, mood, shore, rng, crest, u)
    _mast(view, mood, shore, crest)


def _foot(view: View, crest: np.ndarray, x: float) -> float:
    """Return the row where something at ``x`` px stands, a little below the crest."""
    column = int(np.clip(round(x), 0, view.width - 1))
    return float(crest[column]) + 0.006 * view.height


def _paint(view: View, shore: Shore, corners: list[tuple[float, float]], colour: object) -> None:
    shape = Shape((view.width, view.height), corners)
    if shape.visible:
        shape.paint(shore.picture, np.asarray(colour, np.float32))
        patch = shore.land[shape.rows, shape.columns]
        np.maximum(patch, shape.cover, out=patch)


def _pine(
    view: View, mood: Mood, shore: Shore, rng: np.random.Generator, crest: np.ndarray, u: float
) -> None:
    """Paint a pine: a trunk and whorls that grow wider downwards, none like another."""
    x, tall = u * view.width, rng.uniform(*PINE_TALL) * view.height
    foot = _foot(view, crest, x)
    trunk = max(0.035 * tall, 0.25)
    colour = lit(PINE, mood, float(rng.uniform(0.1, 0.4)))
    _paint(
        view, shore,
        [(x - trunk, foot), (x + trunk, foot), (x + trunk / 3, foot - tall),
         (x - trunk / 3, foot - tall)],
        lit(BARK, mood, 0.2),
    )  # fmt: skip
    for whorl in range(WHORLS):
        top = foot - tall * (1 - whorl / (WHORLS + 1))
        reach = tall * (0.045 + 0.032 * whorl)
        left, right = (reach * rng.uniform(0.6, 1.25) for _ in range(2))
        drop = tall * 0.19
        _paint(
            view, shore,
            [(x, top), (x + right, top + drop * rng.uniform(0.75, 1.1)), (x, top + 0.62 * drop),
             (x - left, top + drop * rng.uniform(0.75, 1.1))],
            colour,
        )  # fmt: skip


def _roof(
    view: View, mood: Mood, shore: Shore, rng: np.random.Generator, crest: np.ndarray, u: float
) -> None:
    """Paint a house with a gable and a chimney on the crest."""
    wide = rng.uniform(*HOUSE_WIDE) * view.width
    x = u * view.width
    foot = _foot(view, crest, x)
    eaves, ridge = foot - 0.55 * wide, foot - 1.0 * wide
    left, right = x - wide / 2, x + wide / 2
    _paint(
        view, shore,
        [(x + 0.18 * wide, foot), (x + 0.30 * wide, foot), (x + 0.30 * wide, ridge - 0.12 * wide),
         (x + 0.18 * wide, ridge - 0.12 * wide)],
        lit(ROOF, mood, 0.2),
    )  # fmt: skip
    _paint(
        view, shore, [(left, foot), (right, foot), (right, eaves), (left, eaves)],
        lit(WALL, mood, 0.3),
    )  # fmt: skip
    _paint(
        view, shore, [(left - 0.06 * wide, eaves), (right + 0.06 * wide, eaves), (x, ridge)],
        lit(ROOF, mood, 0.3),
    )  # fmt: skip


def _mast(view: View, mood: Mood, shore: Shore, crest: np.ndarray) -> None:
    """Paint a thin mast with two yards."""
    x, tall = MAST_AT * view.width, MAST_TALL * view.height
    foot, half = _foot(view, crest, x), MAST_WIDE * view.width / 2
    colour = lit(STEEL, mood, 0.3)
    _paint(
        view, shore,
        [(x - 1.6 * half, foot), (x + 1.6 * half, foot), (x + half, foot - tall),
         (x - half, foot - tall)],
        colour,
    )  # fmt: skip
    for share, reach in ((0.70, 6.0), (0.88, 3.5)):
        y = foot - share * tall
        _paint(
            view, shore,
            [(x - reach * half, y - half), (x + reach * half, y - half),
             (x + reach * half, y + half), (x - reach * half, y + half)],
            colour,
        )  # fmt: skip
