"""The noise of single frames, from how neighbouring frames differ where nothing moves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
PatchArray = npt.NDArray[np.float32]

# what is looked at: so many squares, spread evenly over the frame, of so many pixels a side
SQUARES, SIDE = 64, 32
# blocks of a square that have a mean and a variance of their own
BLOCK = 8
# neighbours compared at most, spread evenly over the burst
MOST_PAIRS = 6
# what moves makes differences greater, so the lower part counts: this quantile of a level's blocks
QUANTILE, NORMAL_QUANTILE = 0.3, -0.5244
LEVELS, FEWEST_BLOCKS = 16, 12
MID_GREY = 0.18
# light that is cut off at either end has too little noise
DARKEST, BRIGHTEST = 1e-4, 0.9
# a level this many times brighter or darker than mid grey still speaks for it
NEAR_GREY = 3.0


@dataclass(frozen=True)
class Noise:
    """The noise of a pixel in one frame, green channel.

    Parameters
    ----------
    at_mid_grey : standard deviation at a light of 0.18, as a share of white.
    snr_mid_grey : mid grey over that.
    shot, read_variance : the variance of light x is ``shot * x + read_variance``.
    extrapolated : whether nothing in the burst was about as bright as mid grey.
    """

    at_mid_grey: float
    shot: float
    read_variance: float
    extrapolated: bool

    @property
    def snr_mid_grey(self) -> float:
        """Mid grey over its noise."""
        return MID_GREY / max(self.at_mid_grey, 1e-9)


def square_places(size: tuple[int, int]) -> list[tuple[int, int]]:
    """Return rows and columns of the corners of squares, spread over (width, height)."""
    width, height = size
    columns = max(1, round((SQUARES * width / height) ** 0.5))
    rows = max(1, SQUARES // columns)
    if width < SIDE or height < SIDE:
        return []
    return [
        (round((r + 0.5) * (height - SIDE) / rows), round((c + 0.5) * (width - SIDE) / columns))
        for r in range(rows)
        for c in range(columns)
    ]


def pair_places(count: int) -> list[int]:
    """Return the first index of each pair of neighbours to compare."""
    pairs = min(MOST_PAIRS, count - 1)
    return [k * (count - 1) // pairs for k in range(pairs)] if pairs > 0 else []


def measure_noise(pairs: Sequence[tuple[PatchArray, PatchArray]]) -> Noise | None:
    """Return the noise; None where nothing is even and still enough to tell.

    Parameters
    ----------
    pairs : squares of neighbouring frames, float32 (S, 32, 32), linear light of one channel.

    Notes
    -----
    Too high where all of the picture moves, as surf; too low where compression smooths even
    parts.

    Source: A. Foi et al., "Practical Poissonian-Gaussian noise modeling and fitting for
    single-image raw-data", IEEE Trans. Image Processing 17 (2008), doi:10.1109/TIP.2008.2001399,
    for the model; E. Wilson and M. Hilferty, "The distribution of chi-square", PNAS 17 (1931),
    doi:10.1073/pnas.17.12.684, for the quantile of a variance.
    """
    if not pairs:
        return None
    means, variances = (np.concatenate(each) for each in zip(*map(_blocks, pairs), strict=True))
    if len(means) < FEWEST_BLOCKS:
        return None
    freedom = BLOCK * BLOCK - 1
    spread = 2 / (9 * freedom)
    expected = (1 - spread + NORMAL_QUANTILE * spread**0.5) ** 3
    edges = np.quantile(means, np.linspace(0, 1, LEVELS + 1))
    levels, found, weights = [], [], []
    for low, high in pairwise(edges):
        inside = (means >= low) & (means <= high)
        if inside.sum() < FEWEST_BLOCKS:
            continue
        levels.append(float(np.median(means[inside])))
        found.append(float(np.quantile(variances[inside], QUANTILE)) / expected)
        weights.append(float(inside.sum()))
    if not levels:
        return None
    shot, read = fit_noise_line(np.array(levels), np.array(found), np.array(weights))
    nearest = min(max(level / MID_GREY, MID_GREY / level) for level in levels)
    return Noise((shot * MID_GREY + read) ** 0.5, shot, read, nearest > NEAR_GREY)


def _blocks(pair: tuple[PatchArray, PatchArray]) -> tuple[FloatArray, FloatArray]:
    """Return mean and variance of the light in each block that is not cut off."""
    one, two = (
        np.asarray(squares, np.float64)
        .reshape(-1, SIDE // BLOCK, BLOCK, SIDE // BLOCK, BLOCK)
        .transpose(0, 1, 3, 2, 4)
        .reshape(-1, BLOCK * BLOCK)
        for squares in pair
    )
    lowest = np.minimum(one.min(axis=1), two.min(axis=1))
    highest = np.maximum(one.max(axis=1), two.max(axis=1))
    inside = (lowest > DARKEST) & (highest < BRIGHTEST)
    mean = (one.mean(axis=1) + two.mean(axis=1)) / 2
    # the difference of two frames has twice the variance of one
    variance = (one - two).var(axis=1, ddof=1) / 2
    return mean[inside], variance[inside]


def fit_noise_line(
    levels: FloatArray, variances: FloatArray, weights: FloatArray
) -> tuple[float, float]:
    """Return slope and offset, both at least 0, of a line through variances.

    The error of a variance grows with it, so relative errors count.
    """
    weight = weights / np.maximum(variances, 1e-12) ** 2
    total = weight.sum()
    mean_x, mean_y = (weight * levels).sum() / total, (weight * variances).sum() / total
    x = levels - mean_x
    square = (weight * x * x).sum()
    slope = (weight * x * (variances - mean_y)).sum() / square if square > 0 else 0.0
    offset = mean_y - slope * mean_x
    if offset < 0:
        return float((weight * levels * variances).sum() / (weight * levels**2).sum()), 0.0
    if slope < 0:
        return 0.0, float(mean_y)
    return float(slope), float(offset)
