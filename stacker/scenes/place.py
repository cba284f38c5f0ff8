"""Kestrel Point from the water: headland, lighthouse and the town at its foot.

One picture shared by the harbour, the lighthouse and the fireworks, each at its own hour.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from stacker.scenes.scene import Light, View
from stacker.scenes.sky import Colour, Mood, blend, paint_sky
from stacker.scenes.streaks import LampLayer
from stacker.scenes.texture import (
    Shape,
    fractal_noise,
    lay_over,
    relief,
    rough_line,
    smoothstep,
)

# Where things stand, as shares of width and height.
HORIZON = 0.50
TOWER_AT = 0.565
TOWER_TALL = 0.155
TOWN_FROM = 0.66

GRASS: Colour = (0.30, 0.34, 0.13)
HEATH: Colour = (0.24, 0.19, 0.11)
ROCK: Colour = (0.52, 0.45, 0.38)
SLATE: Colour = (0.20, 0.21, 0.24)
WALLS: tuple[Colour, ...] = (
    (0.80, 0.77, 0.70), (0.74, 0.60, 0.42), (0.62, 0.46, 0.40), (0.50, 0.58, 0.62),
    (0.78, 0.70, 0.55),
)  # fmt: skip
WARM_LAMP: Colour = (1.0, 0.62, 0.26)


@dataclass
class Shore:
    """The still picture above the water line, its lamps and where they are.

    ``picture`` is (H, W, 3); ``land`` the cover of headland and town, (H, W); ``far`` that of the
    hills beyond the water; ``lantern`` the lighthouse's lamp in pixels; ``lamps`` a list of
    (x, y, energy in px of white, colour).
    """

    picture: Light
    land: Light
    far: Light
    horizon: float
    lantern: tuple[float, float]
    lamps: list[tuple[float, float, float, Colour]] = field(default_factory=list)

    def lamp_light(self, view: View, sigma_px: float) -> Light:
        """Return the light of the still lamps, float32 (H, W, 3)."""
        layer = LampLayer(view.width, view.height)
        if self.lamps:
            x, y, energy = (np.array([lamp[i] for lamp in self.lamps]) for i in range(3))
            colour = np.array([lamp[3] for lamp in self.lamps])
            layer.add(x, y, energy[:, None] * colour)
        return layer.spread(sigma_px)


def lit(colour: Colour | Light, mood: Mood, sun: Light | float) -> Light:
    """Return a surface's colour under the hour's light; ``sun`` is the share of sun it catches."""
    light = np.asarray(mood.ambient, np.float32) + np.asarray(sun, np.float32)[
        ..., None
    ] * np.asarray(mood.sunlight, np.float32)
    return np.asarray(np.asarray(colour, np.float32) * light, np.float32)


def paint_shore(
    view: View, mood: Mood, *, horizon_at: float = HORIZON, clouds: bool = True
) -> Shore:
    """Return Kestrel Point at the hour of ``mood``, its horizon at that share of the height."""
    horizon = round(horizon_at * view.height) - 0.5
    picture = paint_sky(view, mood, horizon, clouds=clouds)
    far = _far_coast(view, mood, horizon, picture)
    land = _headland(view, mood, horizon, picture)
    lantern = _tower(view, mood, horizon, picture, land)
    shore = Shore(picture, land, far, horizon, lantern)
    _town(view, mood, shore)
    return shore


def _far_coast(view: View, mood: Mood, horizon: float, picture: Light) -> Light:
    """Paint two lines of distant hills, pale with haze, and return their cover (H, W)."""
    far = np.zeros((view.height, view.width), np.float32)
    rng = view.rng("far coast")
    u = view.x / view.width
    for tall, haze, reach in ((0.050, 0.80, 0.62), (0.030, 0.62, 0.40)):
        outline = 1 + 0.28 * rough_line(view.width, rng, view.width / 5, gain=0.42)
        hills = tall * view.height * outline * (1 - smoothstep(reach - 0.3, reach, u))
        cover = np.clip(view.y - (horizon - hills) + 0.5, 0, 1) * (view.y <= horizon)
        colour = blend(lit(HEATH, mood, 0.25), mood.horizon, haze)
        lay_over(picture, colour, cover.astype(np.float32))
        np.maximum(far, cover, out=far)
    return far


def outline(view: View) -> Light:
    """Return the height of the headland above the water at each column, (1, W), in pixels."""
    rng = view.rng("headland")
    u = view.x / view.width
    bulk = 0.052 * smoothstep(0.485, 0.56, u) + 0.145 * smoothstep(0.585, 0.84, u)
    bulk += 0.05 * smoothstep(0.80, 1.02, u)
    rough = rough_line(view.width, rng, 0.11 * view.width, gain=0.5, octaves=9)
    return np.asarray(bulk * (1 + 0.085 * rough) * view.height, np.float32)


def _headland(view: View, mood: Mood, horizon: float, picture: Light) -> Light:
    """Paint the headland, turf over rock, and return its cover (H, W)."""
    tall = outline(view)
    above = horizon - view.y
    cover = np.clip(tall - above + 0.5, 0, 1) * np.clip(above + 1.0, 0, 1)
    rng = view.rng("turf")
    shape = (view.height, view.width)
    bumps = fractal_noise(shape, rng, 26 * view.unit, stretch=1.3, gain=0.62)
    cracks = fractal_noise(shape, rng, 34 * view.unit, stretch=0.32, gain=0.66)
    slope = relief(bumps * 5 * view.unit, from_left=0.55, from_above=0.45)
    crag = relief(cracks * 6 * view.unit, from_left=0.75, from_above=0.2)
    # Rock shows near the water and where the ground is steep; the noise frays the line between.
    share = above / np.maximum(tall, 1)
    rocky = 1 - smoothstep(0.20, 0.48, share + 0.12 * bumps)
    turf = blend(GRASS, HEATH, smoothstep(-0.8, 0.9, bumps + 0.4 * cracks))
    ground = blend(turf, np.broadcast_to(np.asarray(ROCK, np.float32), turf.shape), rocky)
    wet = 1 - 0.55 * (1 - smoothstep(0.0, 0.012, above / view.height))
    face = np.clip(0.30 + (1 - rocky) * slope + rocky * crag + 0.10 * cracks, 0.02, 1.2)
    colour = lit(ground * wet[..., None], mood, face)
    haze = 0.16 * np.broadcast_to(1 - smoothstep(0.55, 1.0, view.x / view.width), shape)
    lay_over(picture, blend(colour, mood.horizon, haze), cover.astype(np.float32))
    return np.asarray(cover, np.float32)


def _paint(shape: Shape, picture: Light, land: Light, colour: Light | Colour) -> None:
    """Paint a shape on the picture and count it as land."""
    if shape.visible:
        shape.paint(picture, colour)
        patch = land[shape.rows, shape.columns]
        np.maximum(patch, shape.cover, out=patch)


def _tower(
    view: View, mood: Mood, horizon: float, picture: Light, land: Light
) -> tuple[float, float]:
    """Paint the lighthouse and return the place of its lantern in pixels."""
    size = (view.width, view.height)
    column = int(np.clip(TOWER_AT * view.width, 0, view.width - 1))
    x = float(column)
    foot = horizon - float(outline(view)[0, column]) + 0.012 * view.height
    tall = TOWER_TALL * view.height
    wide = 0.105 * tall
    slices = 14
    for number in range(slices):
        # Narrow upright slices, each lit by how far it faces the sun: a round tower.
        left, right = (2 * (number + i) / slices - 1 for i in (0, 1))
        facing = np.clip(0.55 - 0.62 * (left + right) / 2, 0.05, 1.0)
        colour = lit((0.84, 0.82, 0.78), mood, float(facing))
        top = foot - tall
        shape = Shape(
            size,
            [
                (x + left * wide, foot), (x + right * wide + 0.2, foot),
                (x + 0.62 * right * wide + 0.2, top), (x + 0.62 * left * wide, top),
            ],
        )  # fmt: skip
        shape.paint(picture, colour)
        if shape.visible:
            # edge to edge, so that they add up
            patch = land[shape.rows, shape.columns]
            np.minimum(patch + shape.cover, 1, out=patch)
    dark = lit((0.16, 0.15, 0.16), mood, 0.35)

    def block(half: float, low: float, high: float, colour: Light) -> None:
        corners = [
            (x - half, foot - low), (x + half, foot - low),
            (x + half, foot - high), (x - half, foot - high),
        ]  # fmt: skip
        _paint(Shape(size, corners), picture, land, colour)

    block(0.88 * wide, tall, 1.035 * tall, dark)
    glass = lit((0.55, 0.60, 0.62), mood, 0.8)
    block(0.50 * wide, 1.035 * tall, 1.14 * tall, glass)
    roof = [
        (x - 0.62 * wide, foot - 1.14 * tall),
        (x + 0.62 * wide, foot - 1.14 * tall),
        (x, foot - 1.23 * tall),
    ]
    _paint(Shape(size, roof), picture, land, lit((0.45, 0.12, 0.09), mood, 0.6))
    block(0.62 * wide, 0.44 * tall, 0.60 * tall, lit((0.50, 0.13, 0.10), mood, 0.40))
    return x, foot - 1.087 * tall


def _town(view: View, mood: Mood, shore: Shore) -> None:
    """Paint three rows of houses on the slope above the quay, the far ones first."""
    rng = view.rng("town")
    for row in (2, 1, 0):
        left = (TOWN_FROM + 0.035 * row) * view.width
        while left < view.width * 1.01:
            wide = view.height * rng.uniform(0.034, 0.058)
            base = shore.horizon - view.height * (0.006 + 0.040 * row + rng.uniform(0, 0.006))
            _house(view, mood, shore, rng, left, base, wide)
            left += wide * rng.uniform(0.96, 1.30 + 0.5 * row)
    _street_lamps(view, mood, shore, rng)


def _house(
    view: View, mood: Mood, shore: Shore, rng: np.random.Generator,
    left: float, base: float, wide: float,
) -> None:  # fmt: skip
    """Paint one house with its roof, chimney and windows, some of them lit."""
    size = (view.width, view.height)
    tall = wide * rng.uniform(0.72, 1.05)
    eaves, ridge = base - tall, base - tall - wide * rng.uniform(0.28, 0.42)
    wall = np.asarray(WALLS[rng.integers(len(WALLS))]) * rng.uniform(0.75, 1.0)
    inset = wide * 0.16

    def box(x0: float, x1: float, y0: float, y1: float, colour: Light) -> None:
        _paint(
            Shape(size, [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]), shore.picture, shore.land, colour
        )

    box(
        left + wide * 0.7,
        left + wide * 0.8,
        ridge - wide * 0.1,
        eaves,
        lit((0.4, 0.24, 0.18), mood, 0.4),
    )
    face = float(rng.uniform(0.30, 0.62))
    box(left, left + wide * 0.5, base, eaves, lit(tuple(wall), mood, face))
    box(left + wide * 0.5, left + wide, base, eaves, lit(tuple(wall), mood, face * 0.93))
    roof = [
        (left - 1, eaves),
        (left + wide + 1, eaves),
        (left + wide - inset, ridge),
        (left + inset, ridge),
    ]
    tone = rng.uniform(0.8, 1.2)
    roof_colour = tuple(tone * np.asarray(SLATE if rng.random() < 0.7 else (0.40, 0.20, 0.14)))
    _paint(Shape(size, roof), shore.picture, shore.land, lit(roof_colour, mood, 0.35))
    dark = lit((0.10, 0.11, 0.13), mood, 0.4)
    pane = wide * 0.13
    for column in (0.14, 0.43, 0.72):
        for floor in (0.16, 0.58):
            x, y = left + column * wide, eaves + floor * tall
            box(x, x + pane, y, y + pane * 1.45, dark)
            if rng.random() < mood.lamps_lit * 0.55:
                power = 0.75 * pane * pane * 1.45 * rng.uniform(0.5, 1.3)
                shore.lamps.append((x + pane / 2, y + pane * 0.72, power, (1.0, 0.66, 0.32)))


def _street_lamps(view: View, mood: Mood, shore: Shore, rng: np.random.Generator) -> None:
    """Set street lamps along the quay below the town."""
    if mood.lamps_lit < 0.3:
        return
    for u in np.arange(TOWN_FROM - 0.01, 1.0, 0.052):
        y = shore.horizon - view.height * 0.026
        power = 26 * view.unit**2 * rng.uniform(0.8, 1.2)
        shore.lamps.append((u * view.width + rng.uniform(-3, 3) * view.unit, y, power, WARM_LAMP))
