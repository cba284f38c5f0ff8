"""One number per cell of a frame in which noise is about even, and how much noise it has."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.light.luminance import luminance

Tone = npt.NDArray[np.float32]
Detail = npt.NDArray[np.uint8]

# motion is looked for in copies of at most this many cells
CELLS = 800_000
# keeps the root from magnifying the noise of reading out near black
PEDESTAL = 1e-3
# what is wider than this (a Gaussian's deviation, in cells) is shading, not texture
SHADING_CELLS = 12.0
# cells over which noise is measured, and the share of the evenest places that is pure noise
NOISE_CELLS = 15
EVENEST = 10
# what the evenest tenth of such squares of pure noise has, as a share of the noise's variance
OF_EVENEST = 0.9
LEVELS = 6
LEAST_NOISE = 1e-4


def tone_of(light: LightArray, factor: int, weights: tuple[float, float, float]) -> Tone:
    """Return the root of the luminance of cells of ``factor`` pixels a side, float32 (h, w).

    Parameters
    ----------
    light : float32 (H, W, 3), linear. Rows and columns beyond the last whole cell are left out.
    weights : the share of each channel in the luminance.
    """
    h, w = light.shape[0] // factor, light.shape[1] // factor
    cells = light[: h * factor, : w * factor]
    if factor > 1:
        cells = np.asarray(cv2.resize(cells, (w, h), interpolation=cv2.INTER_AREA), np.float32)
    return np.sqrt(np.maximum(luminance(cells, weights), 0) + np.float32(PEDESTAL))


def without_shading(tone: Tone) -> Tone:
    """Return the texture of a tone, mean about 0, same shape."""
    return np.asarray(tone - cv2.GaussianBlur(tone, (0, 0), SHADING_CELLS), np.float32)


def detail_of(tone: Tone, spread: float) -> Detail:
    """Return the texture in codes about 128, of which ``spread`` takes some 40, uint8 (h, w)."""
    bent = np.tanh(without_shading(tone) * np.float32(1 / (3 * max(spread, 1e-6))))
    return np.asarray(np.rint(128 + 127 * bent), np.uint8)


@dataclass(frozen=True)
class Noise:
    """Variance of the noise of one frame's tone, at some levels of the tone."""

    levels: tuple[float, ...]
    variances: tuple[float, ...]

    def at(self, tone: Tone) -> Tone:
        """Return the variance where the tone is so, float32 of the same shape."""
        return np.interp(tone, self.levels, self.variances).astype(np.float32)


def noise_of(pairs: Sequence[tuple[Tone, Tone]]) -> Noise:
    """Return the noise of tones, from pairs of neighbouring frames.

    Where nothing moves, neighbours differ by noise alone; where all moves, the finest detail of
    a frame has little but noise. The lesser of the two is taken, at each level.
    """
    tones: list[Tone] = []
    changes: list[Tone] = []
    fines: list[Tone] = []
    for one, other in pairs:
        change = 0.5 * (one - other)[..., None] ** 2
        fine = cv2.filter2D(one, -1, FINEST)[..., None] ** 2
        for values, places in ((change, changes), (fine, fines), (one, tones)):
            even = np.asarray(cv2.blur(values, (NOISE_CELLS, NOISE_CELLS)), np.float32)
            places.append(even[::4, ::4].ravel())
    tone, change, fine = (np.concatenate(values) for values in (tones, changes, fines))
    edges = np.quantile(tone, np.linspace(0, 1, LEVELS + 1))
    levels, variances = [], []
    for low, high in itertools.pairwise(edges):
        here = (tone >= low) & (tone <= high)
        least = min(np.percentile(change[here], EVENEST), np.percentile(fine[here], EVENEST))
        levels.append(float(tone[here].mean()))
        variances.append(max(float(least) / OF_EVENEST, LEAST_NOISE**2))
    return Noise(tuple(levels), tuple(variances))


# differences of differences: a ramp or an edge along an axis gives nothing, noise keeps its
# variance (J. Immerkaer, "Fast noise variance estimation", Computer Vision and Image
# Understanding 64 (1996), doi:10.1006/cviu.1996.0060)
FINEST = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32) / 6
