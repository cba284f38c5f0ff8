"""The slow gradient of light in a night sky: towns, the moon, the last of the dusk."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray

FloatArray = npt.NDArray[np.float64]

# cells of the sky that are brighter or darker than the fit by so many standard deviations are
# clouds or the Milky Way, and are left out of the next fit
CLIP, ROUNDS = 2.5, 5
# the surface has six numbers for each channel; so many cells tell them
FEWEST_CELLS = 24
# the sky is left as dark everywhere as this share of its cells is at the most
DARKEST = 0.05


def fit_glow(levels: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray | None:
    """Return the surface of second degree through the levels of a sky, (6, 3); None of too few.

    Parameters
    ----------
    levels : (N, 3) linear light of cells of the sky.
    x, y : (N,) where they lie, about -1 to 1.
    """
    if len(levels) < FEWEST_CELLS:
        return None
    terms = _terms(x, y)
    good = np.ones(len(levels), bool)
    surface: FloatArray = np.zeros((6, 3))
    for _ in range(ROUNDS):
        surface = np.asarray(np.linalg.lstsq(terms[good], levels[good], rcond=None)[0])
        off = (levels - terms @ surface).mean(axis=1)
        spread = 1.4826 * float(np.median(np.abs(off[good]))) + 1e-9
        kept = np.abs(off) < CLIP * spread
        if kept.sum() < FEWEST_CELLS or (kept == good).all():
            break
        good = kept
    return np.asarray(surface)


def floor_of(surface: FloatArray, x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the light of each channel, (3,), that the darkest cells of a surface have."""
    return np.asarray(np.quantile(_terms(x, y) @ surface, DARKEST, axis=0))


def glow_rows(surface: FloatArray, floor: FloatArray, x: FloatArray, y: FloatArray) -> LightArray:
    """Return the glow above its floor, float32 (len(y), len(x), 3); below 0 in the darkest part."""
    ones = np.ones_like(x)
    rows = []
    for height in y:
        light = _terms(x, height * ones) @ surface - floor
        rows.append(light.astype(np.float32))
    return np.stack(rows)


def _terms(x: FloatArray, y: FloatArray) -> FloatArray:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
