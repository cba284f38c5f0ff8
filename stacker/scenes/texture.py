"""Brushes: seeded noise of many scales, soft edges and shapes, all in linear light."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
import numpy.typing as npt

from stacker.scenes.scene import Light

# Shapes are drawn this many times larger and reduced, which gives them smooth edges.
SHAPE_OVERSAMPLING = 4
# Fixed-point digits of a shape's corners.
CORNER_BITS = 6
# Noise cells below this many pixels would alias.
SMALLEST_CELL_PX = 1.5


def smoothstep(low: float, high: float, value: npt.ArrayLike) -> Light:
    """Return 0 below ``low``, 1 above ``high`` and a smooth rise between, float32."""
    t = np.clip((np.asarray(value, dtype=np.float32) - low) / (high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def _one_octave(
    shape: tuple[int, int], rng: np.random.Generator, cell: tuple[float, float]
) -> Light:
    """Return smooth noise with cells of ``cell`` = (across, down) pixels."""
    rows = int(np.ceil(shape[0] / cell[1])) + 4
    columns = int(np.ceil(shape[1] / cell[0])) + 4
    grid = rng.standard_normal((rows, columns), dtype=np.float32)
    full = (round(columns * cell[0]), round(rows * cell[1]))
    noise = cv2.resize(grid, full, interpolation=cv2.INTER_CUBIC)
    top, left = int(cell[1] * 1.5), int(cell[0] * 1.5)
    return np.ascontiguousarray(noise[top : top + shape[0], left : left + shape[1]])


def fractal_noise(
    shape: tuple[int, int],
    rng: np.random.Generator,
    cell_px: float,
    *,
    stretch: float = 1.0,
    octaves: int = 6,
    gain: float = 0.55,
) -> Light:
    """Return noise of many scales, float32 ``shape``, mean about 0 and spread about 1.

    Parameters
    ----------
    cell_px : height of the largest cells in pixels; each octave halves it.
    stretch : width of a cell over its height.
    gain : amplitude of each octave over that of the one before.
    """
    total = np.zeros(shape, np.float32)
    weight, power = 1.0, 0.0
    for _ in range(octaves):
        if min(cell_px, cell_px * stretch) < SMALLEST_CELL_PX:
            break
        total += np.float32(weight) * _one_octave(shape, rng, (cell_px * stretch, cell_px))
        power += weight**2
        weight *= gain
        cell_px /= 2
    return total * np.float32(1 / np.sqrt(max(power, 1e-9)) / 0.75)


def rough_line(
    length: int, rng: np.random.Generator, cell_px: float, *, octaves: int = 8, gain: float = 0.5
) -> Light:
    """Return noise along a line, float32 (1, length): the outline of hills and trees."""
    total = np.zeros((1, length), np.float32)
    weight = 1.0
    for _ in range(octaves):
        if cell_px < SMALLEST_CELL_PX:
            break
        total += np.float32(weight) * _one_octave((1, length), rng, (cell_px, 1.0))
        weight *= gain
        cell_px /= 2
    return total


def lay_over(canvas: Light, colour: npt.ArrayLike, cover: npt.ArrayLike) -> None:
    """Paint ``colour`` (H, W, 3) on ``canvas`` where ``cover`` (H, W) says, in place.

    ``cover`` is the share of each pixel that is painted: edges mix in linear light.
    """
    share = np.asarray(cover, dtype=np.float32)[..., None]
    canvas += share * (np.asarray(colour, dtype=np.float32) - canvas)


def relief(noise: npt.ArrayLike, *, from_left: float, from_above: float) -> Light:
    """Return how much more (or less) light a bumpy surface catches, (H, W), mean about 0.

    ``noise`` is its height in pixels; the light comes from the left and above by these amounts.
    """
    surface = np.asarray(noise, dtype=np.float32)
    across = cv2.Sobel(surface, cv2.CV_32F, 1, 0, scale=1 / 8)
    down = cv2.Sobel(surface, cv2.CV_32F, 0, 1, scale=1 / 8)
    return np.asarray(from_left * across + from_above * down, np.float32)


class Shape:
    """A filled outline with smooth edges: the patch of the picture it touches, and its cover."""

    def __init__(
        self,
        size: tuple[int, int],
        corners: Sequence[tuple[float, float]] | npt.NDArray[np.float64],
    ) -> None:
        width, height = size
        points = np.asarray(corners, dtype=np.float64)
        low = np.clip(np.floor(points.min(axis=0)) - 1, 0, [width, height]).astype(int)
        high = np.clip(np.ceil(points.max(axis=0)) + 2, 0, [width, height]).astype(int)
        self.rows = slice(low[1], max(high[1], low[1]))
        self.columns = slice(low[0], max(high[0], low[0]))
        self.cover = self._draw(points - low, (high - low).clip(min=0))

    @property
    def visible(self) -> bool:
        """Whether any of it lies in the picture."""
        return self.cover.size > 0

    @staticmethod
    def _draw(points: npt.NDArray[np.float64], extent: npt.NDArray[np.int_]) -> Light:
        width, height = (int(side) for side in extent)
        if width == 0 or height == 0:
            return np.zeros((height, width), np.float32)
        s = SHAPE_OVERSAMPLING
        large = np.zeros((height * s, width * s), np.uint8)
        corners = np.rint(((points + 0.5) * s - 0.5) * 2**CORNER_BITS).astype(np.int32)
        cv2.fillPoly(large, [corners], 255, lineType=cv2.LINE_AA, shift=CORNER_BITS)
        small = cv2.resize(large, (width, height), interpolation=cv2.INTER_AREA)
        return small.astype(np.float32) / np.float32(255)

    def paint(self, canvas: Light, colour: npt.ArrayLike, *, shade: Light | None = None) -> None:
        """Paint it on ``canvas`` in one colour, times ``shade`` (H, W) of the whole picture."""
        if not self.visible:
            return
        patch = canvas[self.rows, self.columns]
        paint = np.asarray(colour, dtype=np.float32)
        if shade is not None:
            paint = shade[self.rows, self.columns, None] * paint
        lay_over(patch, paint, self.cover)


def ellipse(
    centre: tuple[float, float], radii: tuple[float, float], *, corners: int = 28
) -> npt.NDArray[np.float64]:
    """Return the outline of an ellipse, (corners, 2)."""
    angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    return np.stack(
        [centre[0] + radii[0] * np.cos(angle), centre[1] + radii[1] * np.sin(angle)], axis=1
    )
