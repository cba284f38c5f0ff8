"""Skies of Kestrel Point: the hour's colours, the veil over the horizon, and clouds."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.scenes.scene import Light, View
from stacker.scenes.texture import fractal_noise, smoothstep

Colour = tuple[float, float, float]


@dataclass(frozen=True)
class Mood:
    """The light of an hour: colours in linear light, 1.0 being white.

    ``sun_at`` is where the sun (or its afterglow) stands, as shares of width and height.
    ``ambient`` lights what faces the sky, ``sunlight`` what faces the sun.
    """

    zenith: Colour
    middle: Colour
    horizon: Colour
    afterglow: Colour
    sun_at: tuple[float, float]
    ambient: Colour
    sunlight: Colour
    cloud_lit: Colour
    cloud_shade: Colour
    cloud_cover: float
    lamps_lit: float


LATE = Mood(
    zenith=(0.10, 0.19, 0.36), middle=(0.31, 0.37, 0.45), horizon=(0.66, 0.50, 0.36),
    afterglow=(0.60, 0.30, 0.10), sun_at=(0.24, 0.33),
    ambient=(0.26, 0.29, 0.36), sunlight=(0.90, 0.52, 0.24),
    cloud_lit=(0.95, 0.62, 0.40), cloud_shade=(0.27, 0.28, 0.34),
    cloud_cover=0.55, lamps_lit=0.0,
)  # fmt: skip
DUSK = Mood(
    zenith=(0.016, 0.034, 0.095), middle=(0.060, 0.075, 0.145), horizon=(0.33, 0.17, 0.115),
    afterglow=(0.42, 0.14, 0.035), sun_at=(0.20, 0.42),
    ambient=(0.040, 0.052, 0.085), sunlight=(0.055, 0.030, 0.022),
    cloud_lit=(0.34, 0.13, 0.105), cloud_shade=(0.045, 0.050, 0.085),
    cloud_cover=0.50, lamps_lit=0.65,
)  # fmt: skip
NIGHT = Mood(
    zenith=(0.0022, 0.0036, 0.0088), middle=(0.0042, 0.0066, 0.0145),
    horizon=(0.0125, 0.0150, 0.0220),
    afterglow=(0.010, 0.0070, 0.0045), sun_at=(0.80, 0.45),
    ambient=(0.0032, 0.0046, 0.0082), sunlight=(0.0035, 0.0040, 0.0050),
    cloud_lit=(0.0085, 0.0090, 0.0120), cloud_shade=(0.0030, 0.0040, 0.0075),
    cloud_cover=0.35, lamps_lit=0.55,
)  # fmt: skip
DAY = Mood(
    zenith=(0.10, 0.23, 0.52), middle=(0.27, 0.43, 0.68), horizon=(0.62, 0.70, 0.78),
    afterglow=(0.08, 0.07, 0.05), sun_at=(0.10, 0.05),
    ambient=(0.34, 0.39, 0.47), sunlight=(0.62, 0.57, 0.48),
    cloud_lit=(0.92, 0.91, 0.89), cloud_shade=(0.50, 0.54, 0.61),
    cloud_cover=0.50, lamps_lit=0.0,
)  # fmt: skip


def blend(first: Colour | Light, second: Colour | Light, share: npt.ArrayLike) -> Light:
    """Return ``first`` turning into ``second`` by ``share`` (H, W) or a number, (H, W, 3)."""
    part = np.asarray(share, np.float32)[..., None]
    a, b = np.asarray(first, np.float32), np.asarray(second, np.float32)
    return a + part * (b - a)


def paint_sky(view: View, mood: Mood, horizon: float, *, clouds: bool = True) -> Light:
    """Return a sky above row ``horizon`` px, float32 (H, W, 3); below it the horizon's colour."""
    height = np.clip((horizon - view.y) / max(horizon, 1), 0, None)
    height = np.broadcast_to(height, (view.height, view.width))
    sky = blend(mood.horizon, mood.middle, smoothstep(0, 0.45, height) ** 0.8)
    sky = blend(sky, mood.zenith, smoothstep(0.15, 1.25, height))
    across = (view.x - mood.sun_at[0] * view.width) / view.width
    above = (view.y - mood.sun_at[1] * view.height) / view.height
    near = np.exp(-(across**2) / 0.08 - above**2 / 0.012)
    close = np.exp(-np.sqrt(across**2 + (1.4 * above) ** 2) / 0.055)
    sky += (0.6 * near + 0.8 * close)[..., None] * np.asarray(mood.afterglow, np.float32)
    return _with_clouds(view, mood, horizon, sky) if clouds else sky


def _with_clouds(view: View, mood: Mood, horizon: float, sky: Light) -> Light:
    """Return ``sky`` with clouds that lie on a level ceiling and draw together at the horizon."""
    rng = view.rng("clouds")
    sheet = fractal_noise((512, 1024), rng, 160, stretch=2.0, octaves=8, gain=0.52)
    rise = np.clip((horizon - view.y) / view.height, 0.012, None)
    far = (0.16 / (rise + 0.10)).astype(np.float32)
    across = ((view.x / view.width - 0.5) * far * 760 + 512).astype(np.float32)
    along = np.broadcast_to(far * 620, across.shape).astype(np.float32)
    density = cv2.remap(sheet, across, along, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)
    # The same sheet a little towards the sun: thinner there means a lit edge.
    lit_edge = cv2.remap(
        sheet, across - 9, along - 5, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT
    )
    cover = smoothstep(0.8 - 1.6 * mood.cloud_cover, 2.2 - 1.6 * mood.cloud_cover, density)
    cover *= smoothstep(0.01, 0.10, rise)
    sunny = np.exp(-(((view.x / view.width - mood.sun_at[0]) / 0.55) ** 2))
    shine = np.clip(0.42 + 0.35 * (density - lit_edge), 0, 1) * (0.35 + 0.65 * sunny)
    colour = blend(mood.cloud_shade, mood.cloud_lit, shine.astype(np.float32))
    return blend(sky, colour, 0.85 * cover)
