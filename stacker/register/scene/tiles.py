"""The reference cut into tiles, each with the pixels that tell most about motion.

Movers are left out, and exposure drift is taken out, tile by tile: a picture that is half
walkers is half good tiles, however much texture the walkers wear.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from stacker.register.scene.grey import Grey, GreyArray

Samples = npt.NDArray[np.float32]

TILE_PX = 32
COARSE_TILE_PX = 16
# of a tile's pixels, those with the strongest gradients; the coarsest level takes all
STRONGEST = 128
# ... and so many where the usual tile's slopes are noise by more than a share: many weak ones tell
# more than the few that noise made strong
NOISY_STRONGEST = 400
NOISY_SIGNAL = 0.85
# The share of white noise's variance that is left at each level after smoothing and halving, and
# the variance of the slope that it makes there; measured.
NOISE_LEFT = (0.0799, 0.0631, 0.0335)
NOISE_SLOPE = (0.0340, 0.0482, 0.0288)
# a tile tells something where this share of its squared gradients is not noise
LEAST_SIGNAL = 0.15
# ... and above what no eye sees, on the scale of the root of light
LEAST_GRADIENT = 4e-4


@dataclass(frozen=True, eq=False)
class Tiles:
    """Chosen pixels of one level of the reference: T tiles of K pixels.

    ``x``, ``y`` float32 (T, K), pixels of this level; ``value`` the grey there; ``gx``, ``gy`` its
    gradient, from which the tile's mean and its share in the value are taken away, so that a
    change of gain or offset moves nothing; ``use`` float32 (T, K), 0 for pixels burnt out.
    ``centre`` float64 (T, 2). ``slope`` and ``contrast`` float64 (T,): the mean squared gradient
    and the variance of the value; ``noise_power`` is the part of that variance that is noise, and
    ``signal`` float64 (T,) the part of the squared gradient that is not.
    """

    level: int
    x: Samples
    y: Samples
    value: Samples
    gx: Samples
    gy: Samples
    use: Samples
    centre: npt.NDArray[np.float64]
    slope: npt.NDArray[np.float64]
    contrast: npt.NDArray[np.float64]
    signal: npt.NDArray[np.float64]
    noise_power: float
    size: tuple[int, int]
    shape: tuple[int, int]
    side: int
    place: npt.NDArray[np.int64]

    @property
    def count(self) -> int:
        """How many tiles tell something."""
        return len(self.x)


def cut_tiles(reference: Grey, level: int, *, side: int, strongest: int) -> Tiles:
    """Return the textured tiles of a level of the reference.

    Parameters
    ----------
    side : of a tile, pixels of the level.
    strongest : pixels of a tile to keep; ``side * side`` keeps all.
    """
    grey = reference.levels[level]
    # a border of two pixels has no gradient
    height, width = (max(0, (length - 4) // side) for length in grey.shape)
    x, y = np.meshgrid(np.arange(grey.shape[1], dtype=np.float32),
                       np.arange(grey.shape[0], dtype=np.float32))  # fmt: skip
    clear = _clear_at(reference, grey.shape)
    gx, gy = slopes(grey)

    def by_tile(plane: npt.NDArray[np.float32]) -> Samples:
        inner = plane[2 : 2 + height * side, 2 : 2 + width * side]
        cells = inner.reshape(height, side, width, side).swapaxes(1, 2)
        return cells.reshape(height * width, side * side)

    energy = by_tile((gx * gx + gy * gy) * clear)
    place = np.arange(height * width)
    if strongest < side * side:
        chosen = np.argpartition(energy, -strongest, axis=1)[:, -strongest:]
        # in the order in which they lie in memory: sampling is quicker
        chosen.sort(axis=1)
    else:
        chosen = np.broadcast_to(np.arange(side * side), energy.shape)
    mean_energy = np.take_along_axis(energy, chosen, axis=1).mean(axis=1)
    floor = max(LEAST_GRADIENT**2, _noise_energy(reference.noise, level, strongest / side**2))
    signal = 1 - floor / np.maximum(mean_energy, 1e-20)
    textured = signal > LEAST_SIGNAL
    place, chosen = place[textured], chosen[textured]

    def pick(plane: npt.NDArray[np.float32]) -> Samples:
        return np.ascontiguousarray(np.take_along_axis(by_tile(plane)[textured], chosen, axis=1))

    xs, ys, use = pick(x), pick(y), pick(clear)
    value = pick(grey)
    gxs, gys = _without_gain_and_offset(value, use, pick(gx), pick(gy))
    weight = (gxs * gxs + gys * gys) * use + np.float32(1e-20)
    total = weight.sum(axis=1)
    centre = np.stack([(weight * xs).sum(axis=1) / total, (weight * ys).sum(axis=1) / total], 1)
    used = np.maximum(use.sum(axis=1), 1)
    mean = (value * use).sum(axis=1) / used
    return Tiles(
        level=level,
        x=xs,
        y=ys,
        value=value,
        gx=gxs,
        gy=gys,
        use=use,
        centre=centre.astype(np.float64),
        slope=((gxs * gxs + gys * gys).sum(axis=1) / used).astype(np.float64),
        contrast=((value * value * use).sum(axis=1) / used - mean**2).astype(np.float64),
        signal=signal[textured].astype(np.float64),
        noise_power=NOISE_LEFT[level] * reference.noise**2,
        size=(grey.shape[1], grey.shape[0]),
        shape=(height, width),
        side=side,
        place=place,
    )


def slopes(grey: GreyArray) -> tuple[GreyArray, GreyArray]:
    """Return the slope across and down per pixel, float32 (h, w)."""
    straight = np.ones(1, np.float32)
    kernel = np.array([1, -8, 0, 8, -1], np.float32) / np.float32(12)
    across = cv2.sepFilter2D(grey, -1, kernel, straight, borderType=cv2.BORDER_REPLICATE)
    down = cv2.sepFilter2D(grey, -1, straight, kernel, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(across, np.float32), np.asarray(down, np.float32)


def _clear_at(reference: Grey, shape: tuple[int, ...]) -> npt.NDArray[np.float32]:
    """Return 1 where nothing is burnt out, at the size of a level, float32."""
    clear = reference.clear
    if clear.shape != shape:
        clear = np.asarray(
            cv2.resize(clear, (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST), np.uint8
        )
    return clear.astype(np.float32)


def _without_gain_and_offset(
    value: Samples, use: Samples, gx: Samples, gy: Samples
) -> tuple[Samples, Samples]:
    """Return gradients from which each tile's mean and its share in the value are taken."""
    count = np.maximum(use.sum(axis=1, keepdims=True), 1)
    centred = (value - (value * use).sum(axis=1, keepdims=True) / count) * use
    power = np.maximum((centred * centred).sum(axis=1, keepdims=True), np.float32(1e-12))
    out = []
    for slope in (gx, gy):
        rest = (slope - (slope * use).sum(axis=1, keepdims=True) / count) * use
        rest -= centred * ((centred * rest).sum(axis=1, keepdims=True) / power)
        out.append(rest)
    return out[0], out[1]


def _noise_energy(noise: float, level: int, share: float) -> float:
    """Return the mean squared gradient that noise alone has in a tile's strongest pixels."""
    variance = NOISE_SLOPE[level] * noise**2
    # the squared gradient of noise falls off exponentially: the strongest share of it has more
    return float(2 * variance * (1 - np.log(share)))
