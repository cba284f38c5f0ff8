"""The coast road without its cars: asphalt, verge, sea wall, scrub and street lamps at dusk."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.scenes.glow import with_glow
from stacker.scenes.pier import Ground, joint_cover
from stacker.scenes.place import Shore, lit, paint_shore
from stacker.scenes.scene import Light, View
from stacker.scenes.sky import DUSK, blend
from stacker.scenes.texture import (
    Shape,
    fractal_noise,
    lay_over,
    relief,
    rough_line,
    smoothstep,
)
from stacker.scenes.water import Sea, Water

HORIZON_AT = 0.42
EYE_M = 5.5
HALF_ROAD_M = 3.7
WALL_M, WALL_TALL_M, WALL_THICK_M = -5.2, 0.85, 0.35
VERGE_TO_M = 5.6
ROAD_ENDS_M = 215.0
LAMP_POSTS_M = (24.0, 46.0, 70.0, 97.0, 128.0, 165.0)
POST_AT_M, POST_TALL_M = 5.0, 6.0
LAMP_COLOUR = (1.0, 0.60, 0.25)


def road_ground(view: View) -> Ground:
    """Return the ground plane of the road."""
    horizon = round(HORIZON_AT * view.height) - 0.5
    return Ground(0.5 * (view.width - 1), horizon, 1.05 * max(view.width, view.height), EYE_M)


def road_centre(z: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return how far right of the eye the middle of the road lies ``z`` metres away."""
    away = np.asarray(z, np.float64)
    # The second bend goes behind the spur of the hill.
    return away * (0.035 + 0.125 * np.sin(np.minimum(away, 190.0) / 72 - 0.75))


def paint_road(view: View, ground: Ground) -> tuple[Light, Light]:
    """Return the still scene and what share of light its ground throws back, (H, W, 3) each."""
    shore = paint_shore(view, DUSK, horizon_at=HORIZON_AT)
    picture = shore.picture + with_glow(shore.lamp_light(view, 0.9 * view.unit), view.unit)
    water = Water(view, Sea(body=(0.010, 0.018, 0.026), eye_m=14.0), shore.horizon, picture)
    picture[water.top :] = water.light(0.0, 3.0)
    x, z = ground.metres(view)
    across = np.asarray(x - road_centre(z), np.float32)
    pixel_m = z / np.float32(ground.focal_px)
    albedo = _surface(view, across, z, pixel_m)
    land = np.clip((across - WALL_M) / pixel_m + 0.5, 0, 1)
    land *= smoothstep(ROAD_ENDS_M * 1.10, ROAD_ENDS_M, z) * (view.y > shore.horizon)
    pools = _lamp_pools(across, z)
    lay_over(picture, lit(albedo, DUSK, 0.4) + albedo * pools, land)
    _sea_wall(view, ground, picture)
    hill = _hillside(view, shore, across, picture)
    seen = np.asarray(land * (1 - hill), np.float32)
    _lamp_posts(view, ground, picture)
    return picture + _post_lamps(view, ground), albedo * seen[..., None]


def _surface(view: View, across: Light, z: Light, pixel_m: Light) -> Light:
    """Return the reflectance of asphalt, markings and verge, (H, W, 3)."""
    rng = view.rng("asphalt")
    shape = (view.height, view.width)
    grain = fractal_noise(shape, rng, 4 * view.unit, stretch=2.0, gain=0.8)
    patch = fractal_noise(shape, rng, 40 * view.unit, stretch=3.0)
    lane = np.abs(across)
    ruts = np.exp(-(((lane - 1.05) / 0.35) ** 2)) + np.exp(-(((lane - 2.65) / 0.35) ** 2))
    tar = 0.12 * (1 + 0.07 * grain + 0.08 * patch) * (1 - 0.14 * ruts)
    surface = blend((0.0, 0.0, 0.0), (1.0, 1.0, 1.04), tar)
    wear = 0.86 + 0.08 * grain

    def line(at: float, wide: float, share: Light | float) -> None:
        soft = np.maximum(pixel_m, 0.03)
        cover = np.clip((wide / 2 + soft / 2 - np.abs(across - at)) / soft, 0, 1)
        cover *= np.minimum(wide / soft, 1) * share * wear
        lay_over(surface, (0.62, 0.62, 0.58), np.clip(cover, 0, 1))

    # Dashes of three metres in nine.
    dash = joint_cover(z / 9.0, 0.36, pixel_m * z / EYE_M / 9.0)
    line(-HALF_ROAD_M + 0.25, 0.14, 1.0)
    line(HALF_ROAD_M - 0.25, 0.14, 1.0)
    line(0.0, 0.14, np.minimum(dash, 1))
    tufts = np.clip(0.70 + 0.30 * grain + 0.22 * patch, 0.1, 1.8)
    grass = blend((0.0, 0.0, 0.0), (0.13, 0.15, 0.06), tufts)
    frayed = lane + 0.16 * patch + 0.10 * grain
    lay_over(surface, grass, smoothstep(HALF_ROAD_M + 0.1, HALF_ROAD_M + 0.5, frayed))
    return surface


def _sea_wall(view: View, ground: Ground, picture: Light) -> None:
    """Paint the low stone wall between the verge and the sea: its face and its coping."""
    size = (view.width, view.height)
    rng = view.rng("sea wall")
    stones = fractal_noise((view.height, view.width), rng, 7 * view.unit, stretch=2.2, gain=0.7)
    shade = np.clip(0.95 + 0.16 * stones, 0.4, 1.6)
    z = np.geomspace(ROAD_ENDS_M * 1.05, 3.0, 90)
    x = road_centre(z) + WALL_M

    def strip(inner: float, low: float, outer: float, high: float, tone: float) -> None:
        first = np.stack(ground.pixels(x + inner, z, low), axis=1)
        second = np.stack(ground.pixels(x + outer, z, high), axis=1)
        outline = np.clip(np.concatenate([first, second[::-1]]), -4 * max(size), 5 * max(size))
        colour = lit((tone, 0.94 * tone, 0.86 * tone), DUSK, 0.45)
        Shape(size, outline).paint(picture, colour, shade=shade)

    strip(0.0, 0.0, 0.0, WALL_TALL_M, 0.17)
    strip(0.0, WALL_TALL_M, -WALL_THICK_M, WALL_TALL_M, 0.40)


def _hillside(view: View, shore: Shore, across: Light, picture: Light) -> Light:
    """Paint the scrub-covered slope right of the road and return its cover (H, W)."""
    rng = view.rng("hillside")
    shape = (view.height, view.width)
    u = view.x / view.width
    # A long slope with a shoulder; bushes roughen its outline.
    outline = 0.018 * smoothstep(0.555, 0.60, u) + 0.13 * smoothstep(0.58, 0.86, u)
    outline = outline + 0.15 * smoothstep(0.76, 1.10, u)
    tall = outline * (1 + 0.07 * rough_line(view.width, rng, 0.10 * view.width, gain=0.60))
    sky_line = np.clip(view.y - (shore.horizon - tall * view.height) + 0.5, 0, 1)
    bushes = fractal_noise(shape, rng, 40 * view.unit, stretch=1.4, gain=0.62)
    fine = fractal_noise(shape, rng, 9 * view.unit, stretch=1.2, gain=0.75)
    # The foot of the slope: grass hangs over the verge, ragged.
    ragged = across + 0.30 * bushes + 0.12 * fine
    beside = np.where(
        view.y > shore.horizon,
        smoothstep(VERGE_TO_M - 0.25, VERGE_TO_M + 0.35, ragged),
        smoothstep(0.552, 0.562, u),
    )
    bumps = relief((5 * bushes + 1.6 * fine) * view.unit, from_left=0.7, from_above=0.7)
    colour = blend((0.15, 0.18, 0.07), (0.22, 0.17, 0.09), smoothstep(-1, 1.2, bushes))
    face = np.clip(0.55 + 0.55 * bumps + 0.10 * bushes, 0.06, 1.5)
    shaded = lit(colour, DUSK, face) * (0.45 + 0.55 * np.clip(face, 0, 1.2))[..., None]
    haze = (
        0.30
        * (1 - smoothstep(0.56, 0.90, u))
        * smoothstep(0.10, -0.02, (view.y - shore.horizon) / view.height)
    )
    cover = np.asarray(sky_line * beside, np.float32)
    lay_over(picture, blend(shaded, DUSK.middle, np.broadcast_to(haze, shape)), cover)
    return cover


def _lamp_pools(across: Light, z: Light) -> Light:
    """Return the light of the street lamps on the ground, (H, W, 3)."""
    total = np.zeros(across.shape, np.float32)
    for post in LAMP_POSTS_M:
        side = across - (POST_AT_M - 1.6)
        # Falls off with the cube of the distance from the lamp: slant included.
        away = (side**2 + (z - post) ** 2) / POST_TALL_M**2
        total += (1 + away) ** -1.5
    return 0.42 * total[..., None] * np.array(LAMP_COLOUR, np.float32)


def _post_top(ground: Ground, post: float) -> tuple[float, float]:
    """Return the pixel of a street lamp's head."""
    x, y = ground.pixels(road_centre(post) + POST_AT_M - 1.2, post, POST_TALL_M)
    return float(x), float(y)


def _lamp_posts(view: View, ground: Ground, picture: Light) -> None:
    """Paint the posts with their arms over the road, the far ones first."""
    size = (view.width, view.height)
    colour = lit((0.12, 0.12, 0.13), DUSK, 0.4)
    for post in reversed(LAMP_POSTS_M):
        foot, up = road_centre(post) + POST_AT_M, POST_TALL_M + 0.1
        # Never thinner than a third of a pixel, or it would vanish.
        half = max(0.06, 0.17 * post / ground.focal_px)

        def corners(
            points: list[tuple[float, float]], foot: float = float(foot), post: float = post
        ) -> list[tuple[float, float]]:
            pixels = [ground.pixels(foot + along, post, rise) for along, rise in points]
            return [(float(x), float(y)) for x, y in pixels]

        pole = [(-half, 0.0), (half, 0.0), (0.7 * half, up), (-0.7 * half, up)]
        arm = [(half, up - 0.3), (half, up - 0.3 + half), (-1.4, up + half), (-1.4, up)]
        for outline in (pole, arm):
            Shape(size, corners(outline)).paint(picture, colour)


def _post_lamps(view: View, ground: Ground) -> Light:
    """Return the light of the street lamps themselves with their glow, (H, W, 3)."""
    lamps = []
    for post in LAMP_POSTS_M:
        x, y = _post_top(ground, post)
        radius = max(ground.focal_px * 0.13 / post, 0.35 * view.unit)
        lamps.append((x, y, 7.0 * np.pi * radius**2, LAMP_COLOUR))
    nothing = np.zeros((0, 0), np.float32)
    shore = Shore(nothing[..., None], nothing, nothing, 0.0, (0.0, 0.0), lamps)
    return with_glow(shore.lamp_light(view, 1.3 * view.unit), view.unit)
