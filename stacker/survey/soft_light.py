"""Light that changes softly in a part of the picture: clouds and smoke, and lamps from aside.

A block of the picture is told by the median of its pixels, which what is small and moves does not
change. Clouds and smoke come and go over several frames and change all of a block alike, which
cars and surf do not; a headlamp comes in one frame and is gone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

RootArray = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

# blocks along the longer side
BLOCKS = 16
# root of light by which a block must change to be seen, and standard deviations of what changes
# from frame to frame
VEIL_ROOT, LAMP_ROOT, SIGMAS = 0.012, 0.02, 5.0
# shares of the picture: of a veil, of a lamp's light, and of what has to stay as it is
VEIL_SHARE, LAMP_SHARE, STAYS = 0.04, 0.02, 0.25
# a veil that is gone from one frame to the next was something solid
MOST_IN_A_STEP = 0.6
# the middle half of a block's pixels lie within this share of the change, if it is soft, and so
# many standard deviations of the noise beside
ROUGH, ROUGH_SIGMAS = 0.35, 3.0
# a lamp that shines in more frames than this share belongs to the place
SELDOM = 0.2
# frames below which nothing is told
FEWEST_FRAMES = 6


@dataclass(frozen=True)
class Lit:
    """A frame of which a part is lit: its index, share of the picture and box in full-size px."""

    index: int
    share: float
    box: tuple[int, int, int, int]


@dataclass(frozen=True, eq=False)
class Veil:
    """Clouds or smoke.

    Parameters
    ----------
    indices : of the frames that differ most from the usual, in order.
    share : of the picture in which they drift, 0 to 1.
    box : x, y, width, height about the largest part, full-size pixels.
    stops : the greatest change of light, log2, at the middle of what changes.
    in_step : the share of its changes that one pattern explains, growing and fading as a whole:
        near 1 where nothing drifts but a lamp changes, or smoke gathers in one place.
    blocks : bool (rows, columns), every block that changes so.
    """

    indices: tuple[int, ...]
    share: float
    box: tuple[int, int, int, int]
    stops: float
    in_step: float
    blocks: BoolArray


def block_side(shape: tuple[int, ...]) -> int:
    """Return the pixels along a block of a picture of shape (h, w)."""
    return max(1, round(max(shape) / BLOCKS))


def blocks_of(root: RootArray, usual: RootArray) -> tuple[RootArray, RootArray]:
    """Return the median of each block of a frame, and how unlike its pixels have changed.

    Parameters
    ----------
    root : float32 (h, w), root of light; NaN where the frame does not reach.
    usual : float32 (h, w), the median of the frames.

    Returns
    -------
    Each float32 (rows, columns), NaN where any pixel is unknown. The second is the range of the
    middle half of what the pixels differ from ``usual`` by.
    """
    values, away = _in_blocks(root), _in_blocks(root - usual)
    quarter = values.shape[2] // 4
    # sorting puts what is unknown last
    middle = values[..., values.shape[2] // 2].copy()
    middle[np.isnan(values[..., -1])] = np.nan
    return middle, np.asarray(away[..., -1 - quarter] - away[..., quarter])


def _in_blocks(picture: RootArray) -> RootArray:
    """Return the sorted pixels of each block, float32 (rows, columns, pixels)."""
    side = block_side(picture.shape)
    rows, columns = picture.shape[0] // side, picture.shape[1] // side
    cells = picture[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return np.sort(cells.swapaxes(1, 2).reshape(rows, columns, side * side), axis=2)


def find_lit(
    blocks: RootArray,
    indices: Sequence[int],
    block_px: float,
    *,
    aside: BoolArray | None = None,
) -> tuple[Lit, ...]:
    """Return the frames in which a part is far brighter than in nearly all others.

    Parameters
    ----------
    blocks : float32 (M, rows, columns) of frames in order of time, evened in light.
    indices : of these frames in the burst.
    block_px : full-size pixels along a block.
    aside : blocks that change for a reason of their own.
    """
    if len(blocks) < FEWEST_FRAMES:
        return ()
    values, known = _known(blocks)
    if aside is not None:
        known &= ~aside
    away = values - np.median(values, axis=0)
    bright = known & (away > np.maximum(LAMP_ROOT, SIGMAS * _noise(values)))
    bright &= bright.mean(axis=0) <= max(SELDOM, 1.5 / len(away))
    found = []
    for index, mask in zip(indices, bright, strict=True):
        part = _largest(mask)
        if part is not None and part.sum() >= LAMP_SHARE * known.sum():
            found.append(Lit(index, float(part.sum() / known.sum()), _box(part, block_px)))
    return tuple(found)


def find_veil(
    blocks: RootArray,
    rough: RootArray,
    indices: Sequence[int],
    block_px: float,
    pixel_noise: float,
) -> Veil | None:
    """Return what grows and fades over several frames in a large part, while another part stays.

    Parameters
    ----------
    blocks : float32 (M, rows, columns) of frames in order of time, evened in light and held to
        one view.
    rough : the same of how unlike their pixels have changed.
    indices : of these frames in the burst.
    block_px : full-size pixels along a block.
    pixel_noise : standard deviation of a pixel, root of light.
    """
    if len(blocks) < FEWEST_FRAMES:
        return None
    values, known = _known(blocks)
    # of three neighbours the middle one: what passes in a single frame is gone
    slow = np.median(np.stack([values[:-2], values[1:-1], values[2:]]), axis=0)
    lowest, highest = slow.min(axis=0), slow.max(axis=0)
    change = highest - lowest
    steps = np.abs(np.diff(slow, axis=0)).max(axis=0)
    changes = known & (change > np.maximum(VEIL_ROOT, SIGMAS * _noise(values)))
    # asked while a block is far from the usual: what passes now and then is mostly not there
    apart = np.abs(values - np.median(values, axis=0))
    far = apart > 0.5 * apart.max(axis=0)
    unlike = np.where(far, np.nan_to_num(rough), 0).sum(axis=0) / np.maximum(far.sum(axis=0), 1)
    soft = unlike < ROUGH * change + ROUGH_SIGMAS * pixel_noise
    drifts = changes & soft & (steps < MOST_IN_A_STEP * change)
    part = _largest(drifts)
    if part is None or part.sum() < VEIL_SHARE * known.sum():
        return None
    if (known & ~changes).sum() < STAYS * known.sum():
        return None
    away = np.abs(slow - np.median(slow, axis=0))[:, part].mean(axis=1)
    most = [k + 1 for k, change in enumerate(away) if change > 0.5 * away.max()]
    ratio = np.maximum(highest[part], 1e-3) / np.maximum(lowest[part], 1e-3)
    return Veil(
        indices=tuple(indices[k] for k in most),
        share=float(part.sum() / known.sum()),
        box=_box(part, block_px),
        # light is the square of its root
        stops=float(2 * np.log2(np.median(ratio))),
        in_step=_in_step(slow[:, part]),
        blocks=np.asarray(drifts),
    )


def _in_step(values: RootArray) -> float:
    """Return the share of the variance of (frames, blocks) that its greatest pattern explains."""
    strengths = np.linalg.svd(values - values.mean(axis=0), compute_uv=False) ** 2
    return float(strengths[0] / max(float(strengths.sum()), 1e-12))


def aside_of(veil: Veil, shape: tuple[int, int]) -> BoolArray:
    """Return where a veil drifts and its soft rim, bool of ``shape`` (h, w)."""
    rim = cv2.dilate(veil.blocks.astype(np.uint8), np.ones((3, 3), np.uint8))
    side = block_side(shape)
    wide = np.repeat(np.repeat(rim, side, axis=0), side, axis=1)
    # what is left beyond the last whole block goes with it
    down, across = (max(0, shape[axis] - wide.shape[axis]) for axis in (0, 1))
    wide = np.pad(wide, ((0, down), (0, across)), mode="edge")
    return np.asarray(wide[: shape[0], : shape[1]] > 0)


def _known(blocks: RootArray) -> tuple[RootArray, BoolArray]:
    """Return the blocks with 0 where any frame does not reach, and where all do."""
    known = np.asarray(np.isfinite(blocks).all(axis=0))
    return np.where(known, blocks, 0.0).astype(np.float32), known


def _noise(values: RootArray) -> RootArray:
    """Return the standard deviation of what changes from frame to frame, by block."""
    about = (values[:-2] + values[2:]) / 2
    away = np.median(np.abs(values[1:-1] - about), axis=0)
    # a value less the mean of two others has 1.5 times the variance
    return np.asarray(1.4826 / 1.5**0.5 * away, np.float32)


def _largest(mask: BoolArray) -> BoolArray | None:
    """Return the largest connected part of a mask."""
    count, labels, stats, _ = cv2.connectedComponentsWithStats(
        mask.astype(np.uint8), None, connectivity=4
    )
    if count < 2:
        return None
    return np.asarray(labels == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA])))


def _box(part: BoolArray, block_px: float) -> tuple[int, int, int, int]:
    rows, columns = np.nonzero(part)
    x, y = int(columns.min()), int(rows.min())
    width, height = int(columns.max()) + 1 - x, int(rows.max()) + 1 - y
    return (
        round(x * block_px),
        round(y * block_px),
        round(width * block_px),
        round(height * block_px),
    )
