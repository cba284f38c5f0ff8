"""The house fronts along the quay, and boats moored at its edge."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stacker.scenes.pier import Ground
from stacker.scenes.place import WALLS, lit
from stacker.scenes.scene import Light, View
from stacker.scenes.sky import Colour, Mood
from stacker.scenes.texture import Shape, fractal_noise, relief

FRONT_M = 29.0
DOORS: tuple[Colour, ...] = (
    (0.10, 0.22, 0.26),
    (0.30, 0.07, 0.05),
    (0.07, 0.17, 0.10),
    (0.12, 0.10, 0.20),
)
FRAME: Colour = (0.78, 0.77, 0.73)


class Front:
    """A house front facing the viewer: paints rectangles given in metres along and up it."""

    def __init__(
        self, view: View, ground: Ground, picture: Light, left: float, shade: Light
    ) -> None:
        self._size = (view.width, view.height)
        self._ground, self._picture, self._left, self._shade = ground, picture, left, shade

    def paint(self, corners: Sequence[tuple[float, float]], colour: Light) -> None:
        """Paint a polygon of (metres from the left corner, metres above the ground)."""
        pixels = [self._ground.pixels(self._left + x, FRONT_M, up) for x, up in corners]
        shape = Shape(self._size, [(float(x), float(y)) for x, y in pixels])
        shape.paint(self._picture, colour, shade=self._shade)

    def box(self, x0: float, x1: float, low: float, high: float, colour: Light) -> None:
        """Paint a rectangle."""
        self.paint([(x0, low), (x1, low), (x1, high), (x0, high)], colour)


def paint_facades(view: View, mood: Mood, ground: Ground, picture: Light, edge_m: float) -> None:
    """Paint a row of houses along the left of the square on ``picture``, in place."""
    del edge_m
    rng = view.rng("facades")
    shape = (view.height, view.width)
    render = fractal_noise(shape, rng, 46 * view.unit, stretch=0.6, gain=0.62)
    rough = fractal_noise(shape, rng, 5 * view.unit, gain=0.8)
    bumps = relief(rough * 0.8 * view.unit, from_left=0.5, from_above=0.5)
    shade = (1 + 0.07 * render + 0.10 * bumps).astype(np.float32)
    right = -1.5
    while float(ground.pixels(right, FRONT_M)[0]) > -10:
        wide = float(rng.uniform(5.2, 7.5))
        front = Front(view, ground, picture, right - wide, shade)
        _house_front(front, mood, rng, wide)
        right -= wide


def _house_front(front: Front, mood: Mood, rng: np.random.Generator, wide: float) -> None:
    """Paint one house: wall, plinth, door, windows, cornice and roof."""
    storeys = int(rng.integers(2, 4))
    tall = 3.1 * storeys + 0.5
    wall = tuple(np.asarray(WALLS[rng.integers(len(WALLS))]) * rng.uniform(0.80, 1.0))
    roof_tone = np.asarray((0.20, 0.21, 0.24) if rng.random() < 0.6 else (0.40, 0.19, 0.12))
    roof = [(-0.15, tall), (wide + 0.15, tall), (wide - 0.7, tall + 1.9), (0.7, tall + 1.9)]
    front.box(wide * 0.72, wide * 0.84, tall + 0.8, tall + 2.7, lit((0.38, 0.22, 0.16), mood, 0.6))
    front.paint(roof, lit(tuple(roof_tone), mood, 0.75))
    front.box(0, wide, 0, tall, lit(wall, mood, 0.62))
    # The neighbour's edge and the eaves throw a little shade.
    front.box(wide - 0.10, wide, 0, tall, lit(tuple(0.7 * np.asarray(wall)), mood, 0.35))
    front.box(0, wide, tall - 0.55, tall - 0.2, lit(tuple(0.75 * np.asarray(wall)), mood, 0.30))
    front.box(-0.08, wide + 0.08, tall - 0.22, tall + 0.04, lit(FRAME, mood, 0.6))
    front.box(0, wide, 0, 0.55, lit((0.33, 0.31, 0.28), mood, 0.5))
    shutters = DOORS[rng.integers(len(DOORS))] if rng.random() < 0.6 else None
    axes = np.linspace(0.18, 0.82, 3) * wide
    door = int(rng.integers(3))
    for storey in range(storeys):
        for number, x in enumerate(axes):
            if storey == 0 and number == door:
                _door(front, mood, float(x), DOORS[rng.integers(len(DOORS))])
            else:
                _window(front, mood, rng, float(x), 3.1 * storey + 1.05, shutters)


def _door(front: Front, mood: Mood, x: float, colour: Colour) -> None:
    front.box(x - 0.72, x + 0.72, 0.0, 2.55, lit(FRAME, mood, 0.55))
    front.box(x - 0.56, x + 0.56, 0.0, 2.40, lit(colour, mood, 0.45))
    front.box(x - 0.40, x + 0.40, 1.75, 2.25, lit((0.10, 0.13, 0.15), mood, 0.5))
    front.box(x - 0.80, x + 0.80, 0.0, 0.16, lit((0.45, 0.43, 0.39), mood, 0.8))


def _window(
    front: Front,
    mood: Mood,
    rng: np.random.Generator,
    x: float,
    sill: float,
    shutters: Colour | None,
) -> None:
    """Paint a window with its frame, panes that mirror some sky, and perhaps shutters."""
    half, tall = 0.50, 1.45
    if shutters is not None:
        for side in (-1, 1):
            inner, outer = x + side * half, x + side * (half + 0.46)
            front.box(
                min(inner, outer), max(inner, outer), sill, sill + tall, lit(shutters, mood, 0.5)
            )
    front.box(
        x - half - 0.08, x + half + 0.08, sill - 0.1, sill + tall + 0.08, lit(FRAME, mood, 0.6)
    )
    sky = rng.uniform(0.05, 0.40)
    glass = np.array([0.045, 0.055, 0.065], np.float32) + np.float32(sky) * np.array(
        [0.22, 0.30, 0.40], np.float32
    )
    for column in (0, 1):
        for row in (0, 1):
            left = x - half + 0.05 + column * (half + 0.0)
            low = sill + 0.05 + row * (tall / 2)
            front.box(
                left,
                left + half - 0.10,
                low,
                low + tall / 2 - 0.10,
                glass * np.float32(1 + 0.5 * row),
            )
    front.box(
        x - half - 0.05, x + half + 0.05, sill + tall - 0.12, sill + tall, glass * np.float32(0.4)
    )


def paint_mooring(view: View, mood: Mood, ground: Ground, picture: Light, edge_m: float) -> None:
    """Paint sailing boats lying beyond the edge of the quay, in place."""
    rng = view.rng("boats")
    size = (view.width, view.height)
    below = -1.6
    for x, z in ((17.0, edge_m + 26), (7.5, edge_m + 14), (12.5, edge_m + 5), (3.0, edge_m + 7)):
        long = float(rng.uniform(6.5, 9.0))
        hull_colour = ((0.80, 0.80, 0.78), (0.10, 0.16, 0.28), (0.35, 0.07, 0.05))[rng.integers(3)]

        def outline(
            points: Sequence[tuple[float, float]], x: float = x, z: float = z
        ) -> list[tuple[float, float]]:
            pixels = [ground.pixels(x + along, z, below + up) for along, up in points]
            return [(float(px), float(py)) for px, py in pixels]

        mirrored = outline([(0, 0), (long, 0), (long, -0.9), (0.5, -0.9)])
        Shape(size, mirrored).paint(picture, 0.55 * lit(hull_colour, mood, 0.3))
        hull = [(-0.5, 1.15), (0.35, 0), (long - 0.4, 0), (long, 0.95), (long * 0.5, 0.85)]
        Shape(size, outline(hull)).paint(picture, lit(hull_colour, mood, 0.65))
        cabin = [(long * 0.32, 0.85), (long * 0.36, 1.4), (long * 0.66, 1.4), (long * 0.72, 0.88)]
        Shape(size, outline(cabin)).paint(picture, lit((0.72, 0.70, 0.65), mood, 0.7))
        mast = [
            (long * 0.40, 0.9),
            (long * 0.40 + 0.13, 0.9),
            (long * 0.40 + 0.09, long * 1.3),
            (long * 0.40 + 0.03, long * 1.3),
        ]
        Shape(size, outline(mast)).paint(picture, lit((0.62, 0.58, 0.50), mood, 0.6))
        boom = [(long * 0.40, 2.0), (long * 0.86, 1.9), (long * 0.86, 2.15), (long * 0.40, 2.3)]
        Shape(size, outline(boom)).paint(picture, lit((0.10, 0.16, 0.30), mood, 0.5))
