"""What every scene has: a view, a camera that suits the light, and light over an interval."""

from __future__ import annotations

import zlib
from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from stacker.scenes.camera import Camera

Light = npt.NDArray[np.float32]

# Sizes of things are stated for a picture of this many pixels and grow with the picture.
DRAWN_FOR_PX = 960 * 640


@dataclass(frozen=True)
class View:
    """The picture to fill: its size in pixels, the seed and the length of the whole burst.

    Pixel centres lie at whole numbers, x to the right, y down.
    """

    width: int
    height: int
    seed: int
    duration_s: float

    @cached_property
    def unit(self) -> float:
        """Pixels for one pixel of a 960 x 640 picture: the measure of lamps and brush strokes."""
        return float(np.sqrt(self.width * self.height / DRAWN_FOR_PX))

    @property
    def x(self) -> Light:
        """Pixel columns, float32 (1, W)."""
        return np.arange(self.width, dtype=np.float32)[None, :]

    @property
    def y(self) -> Light:
        """Pixel rows, float32 (H, 1)."""
        return np.arange(self.height, dtype=np.float32)[:, None]

    def rng(self, purpose: str) -> np.random.Generator:
        """Return a random generator of its own for one purpose, fixed by the seed.

        Each thing in a scene draws from its own, so that changing one leaves the others alone.
        """
        return np.random.default_rng([self.seed, zlib.crc32(purpose.encode())])


class Scene(ABC):
    """Light as a function of continuous time.

    A scene may be asked from several threads at once: nothing in it changes after it was made.
    """

    camera: Camera

    def __init__(self, view: View) -> None:
        self.view = view

    @abstractmethod
    def light(self, t0: float, t1: float) -> Light:
        """Return the mean light from ``t0`` to ``t1`` seconds, float32 (H, W, 3), linear.

        1.0 is white; lamps exceed it. Light over a long interval is the mean of the light over
        its parts, weighted by their lengths.
        """

    def empty(self) -> Light | None:
        """Return the scene without the movers that a median takes away, or None if it has none."""
        return None

    def ground(self) -> Light | None:
        """Return how much of each pixel is ground and not sky, float32 (H, W), 0 to 1.

        None where the scene does not know.
        """
        return None


@dataclass(frozen=True)
class TimeCells:
    """Cells of a fixed time lattice that an exposure covers, and the share of each.

    Things that cannot be integrated in closed form stand still within a cell. As the lattice is
    the same for every exposure, exposures still add up exactly.
    """

    middle_s: npt.NDArray[np.float64]
    share: npt.NDArray[np.float64]


def time_cells(t0: float, t1: float, cell_s: float) -> TimeCells:
    """Return the lattice cells of length ``cell_s`` between ``t0`` and ``t1``; shares sum to 1."""
    first, last = int(np.floor(t0 / cell_s)), int(np.ceil(t1 / cell_s))
    edge = np.arange(first, max(last, first + 1) + 1) * cell_s
    covered = np.minimum(edge[1:], t1) - np.maximum(edge[:-1], t0)
    kept = covered > 0
    return TimeCells((edge[1:] + edge[:-1])[kept] / 2, covered[kept] / (t1 - t0))
