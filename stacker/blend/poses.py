"""Everybody's poses in one picture: what differs from the background lies over it, frame by frame.

The background of a pixel is what most frames agree on there. A frame shows somebody where it
differs from that by more than noise, and there its light replaces what is already in the picture,
by as much as the frame is to be visible: its weight. Later frames lie over earlier ones. Where an
edge covers a pixel in part, the frame's own light is that mixture already, so it is taken as it
is and no rim appears.

Noise is what the frames that agree tell: by level of light, from the whole picture, and more
where the place itself is restless, as water is.

Source: T. Porter and T. Duff, "Compositing Digital Images", SIGGRAPH 1984,
doi:10.1145/800031.808606, for the operator "over".
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend, Finishing
from stacker.blend.held_frames import HeldFrames, held_row_bytes
from stacker.blend.intake import Intake
from stacker.blend.shortest_half import (
    FloatArray,
    Noise,
    as_roots,
    learn_noise,
    shortest_half,
    width_of_noise,
)
from stacker.light.buffers import zeros
from stacker.light.encoding import LightArray, decode

# a tile of all frames stays small
TILE_ROWS, TILE_COLUMNS = 32, 512
# half of either window; one looks at what the other made
HALF_PX = 4
REACH_PX = 2 * HALF_PX
# Somebody is told in a window of this deviation in pixels, so that single noisy pixels are none;
# a place's own restlessness in one of so many pixels a side: few frames tell it badly.
WINDOW_PX, RESTLESS_PX = 1.0, 2 * HALF_PX + 1
# differences, in standard deviations of noise, from which and up to which a frame takes over
SURE = (2.0, 3.5)
# a stronger difference speaks no louder, or it would take its neighbours' part over other poses
MOST_APART = 8.0
THIRDS = np.full((1, 3), 1 / 3, np.float32)
# pixels from which the noise is learnt
SAMPLE_PIXELS = 200_000


class PosesAccumulator(HeldFrames):
    """Every frame's pixels by index."""

    def result(self) -> LightArray:
        """Return the light of this piece by itself, float32 (rows, width, 3)."""
        (finished,) = settle_poses([self])
        return finished.result()

    def _blend(
        self, values: npt.NDArray[np.generic], weights: npt.NDArray[np.float64]
    ) -> LightArray:
        raise NotImplementedError("a pixel's neighbours count: see settle_poses")

    def light(self, index: int, part: tuple[slice, slice]) -> LightArray:
        """Return some rows and columns of a frame as light, float32 (h, w, 3)."""
        plane = self.planes[index].reshape(self.shape)[part]
        return np.asarray(decode(np.ascontiguousarray(plane), self.intake.encoding), np.float32)


class _Whole:
    """The pieces of a picture as one, read by rows."""

    def __init__(self, pieces: Sequence[PosesAccumulator]) -> None:
        self.pieces = pieces
        self.tops = [0, *itertools.accumulate(piece.shape[0] for piece in pieces)]
        # in the order of the frames, whatever order they came in
        self.indices = sorted(pieces[0].planes)
        self.visible = [pieces[0].intake.weights[index] for index in self.indices]
        self.height, self.width = self.tops[-1], pieces[0].shape[1]
        self.masked = any(piece.masks for piece in pieces)

    def read(self, rows: range, columns: range) -> tuple[LightArray, npt.NDArray[np.bool_] | None]:
        """Return all frames' light, float32 (N, h, w, 3), and where they are valid, (N, h, w)."""
        light = np.empty((len(self.indices), len(rows), len(columns), 3), np.float32)
        valid = np.ones(light.shape[:3], np.bool_) if self.masked else None
        across = slice(columns.start, columns.stop, columns.step)
        for piece, top in zip(self.pieces, self.tops, strict=False):
            first, last = max(rows.start, top), min(rows.stop, top + piece.shape[0])
            if first >= last:
                continue
            ours = slice(first - rows.start, last - rows.start)
            part = slice(first - top, last - top), across
            for number, index in enumerate(self.indices):
                light[number, ours] = piece.light(index, part)
                if valid is not None and index in piece.masks:
                    valid[number, ours] = piece.masks[index][part]
        if valid is not None:
            _fill(light, valid)
        return light, valid


def _fill(light: LightArray, valid: npt.NDArray[np.bool_]) -> None:
    """Put the mean of the frames that say something where one does not, in place."""
    count = valid.sum(axis=0)[..., np.newaxis]
    total = np.where(valid[..., np.newaxis], light, 0).sum(axis=0, dtype=np.float64)
    mean = np.divide(total, count, out=np.zeros_like(total), where=count > 0).astype(np.float32)
    np.copyto(light, mean[np.newaxis], where=~valid[..., np.newaxis])


def settle_poses(pieces: Sequence[PosesAccumulator]) -> list[SettledPoses]:
    """Return the pieces of a whole picture, from top to bottom, ready to be finished."""
    whole = _Whole(pieces)
    noise = learn_noise(_sample(whole)) if whole.indices else None
    return [
        SettledPoses(whole, noise, range(top, bottom))
        for top, bottom in itertools.pairwise(whole.tops)
    ]


@dataclass(frozen=True, eq=False)
class SettledPoses:
    """Rows of the whole picture, to be finished when asked."""

    whole: _Whole
    noise: Noise | None
    rows: range

    def result(self) -> LightArray:
        """Return the blended light, float32 (rows, W, 3)."""
        out = zeros((len(self.rows), self.whole.width, 3), np.float32)
        if self.noise is None:
            return cast("LightArray", out)
        for rows in _cut(self.rows, TILE_ROWS):
            for columns in _cut(range(self.whole.width), TILE_COLUMNS):
                tall = _with_neighbours(rows, self.whole.height)
                wide = _with_neighbours(columns, self.whole.width)
                light, valid = self.whole.read(tall, wide)
                laid = lay_poses(light, valid, self.whole.visible, self.noise)
                inner = _within(rows, tall.start), _within(columns, wide.start)
                out[_within(rows, self.rows.start), columns.start : columns.stop] = laid[inner]
        return cast("LightArray", out)


def _cut(whole: range, length: int) -> Iterator[range]:
    for start in range(whole.start, whole.stop, length):
        yield range(start, min(start + length, whole.stop))


def _with_neighbours(part: range, length: int) -> range:
    return range(max(0, part.start - REACH_PX), min(length, part.stop + REACH_PX))


def _within(part: range, start: int) -> slice:
    return slice(part.start - start, part.stop - start)


def lay_poses(
    light: LightArray,
    valid: npt.NDArray[np.bool_] | None,
    visible: Sequence[float],
    noise: Noise,
) -> LightArray:
    """Return the background with every frame's poses over it, float32 (h, W, 3).

    Parameters
    ----------
    light : float32 (N, h, W, 3), linear, in the order in which they lie over each other.
    valid : bool (N, h, W), where a frame has something to say; everywhere if None.
    visible : how much of each frame's poses shows, 0 to 1.
    """
    roots = as_roots(light)
    centre, width = shortest_half(roots)
    sigma = noise.at(centre)
    # the box of cv2.blur runs on from row to row, and would round differently in other tiles
    even = np.full(RESTLESS_PX, 1 / RESTLESS_PX, np.float32)
    alone = np.float32(width_of_noise(len(light)))
    restless = np.asarray(cv2.sepFilter2D(width / alone, -1, even, even), np.float32)
    np.maximum(sigma, restless, out=sigma)
    shares = [_share(root, centre, sigma) for root in roots]
    if valid is not None:
        shares = [share * known for share, known in zip(shares, valid, strict=True)]
    picture = _background(light, valid, centre, shares)
    for frame, share, part in zip(light, shares, visible, strict=True):
        over = (share * np.float32(part))[..., np.newaxis]
        picture += (frame - picture) * over
    return picture


def _share(root: FloatArray, centre: FloatArray, sigma: FloatArray) -> FloatArray:
    """Return how surely a frame shows something of its own, float32 (h, W), 0 to 1."""
    apart = (root - centre) / sigma
    apart *= apart
    np.minimum(apart, np.float32(MOST_APART**2), out=apart)
    mean = np.asarray(cv2.transform(apart, THIRDS), np.float32)
    size = 2 * HALF_PX + 1
    score = np.sqrt(np.asarray(cv2.GaussianBlur(mean, (size, size), WINDOW_PX)))
    low, high = SURE
    t = np.clip((score - np.float32(low)) / np.float32(high - low), 0, 1)
    # a smooth step: no edge where one hands over to the other
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def _background(
    light: LightArray,
    valid: npt.NDArray[np.bool_] | None,
    centre: FloatArray,
    shares: Sequence[FloatArray],
) -> LightArray:
    """Return the mean light of the frames that show nothing of their own, float32 (h, W, 3)."""
    base = np.copysign(centre * centre, centre)
    added = np.zeros(base.shape)
    count = np.zeros(base.shape[:2])
    for number, (frame, share) in enumerate(zip(light, shares, strict=True)):
        empty = 1 - share.astype(np.float64)
        if valid is not None:
            empty *= valid[number]
        added += (frame - base) * empty[..., np.newaxis]
        count += empty
    count = count[..., np.newaxis]
    mean = base + np.divide(added, count, out=np.zeros_like(added), where=count > 0)
    # where all frames differ what they agree on most stands for the background
    return np.asarray(mean, np.float32)


def _sample(whole: _Whole) -> FloatArray:
    """Return the roots of every few pixels of every few rows, float32 (N, K, 3)."""
    step = max(1, round((whole.height * whole.width / SAMPLE_PIXELS) ** 0.5))
    columns = range(0, whole.width, step)
    rows = [
        whole.read(range(row, row + 1), columns)[0][:, 0] for row in range(0, whole.height, step)
    ]
    return as_roots(np.concatenate(rows, axis=1))


@dataclass(frozen=True)
class Poses(Blend):
    """What differs from the background in each frame, laid over it; later frames on top."""

    name: ClassVar[str] = "poses"
    summary: ClassVar[str] = "everybody's poses over the place they share, later ones on top"

    @property
    def whole(self) -> bool:
        """Whether a piece's result hangs on the other pieces: noise is learnt from all."""
        return True

    def start(self, intake: Intake, rows: int, width: int) -> Accumulator:
        """Return an empty accumulator for a piece of the picture."""
        return PosesAccumulator(intake, rows, width)

    def settle(self, pieces: Sequence[Accumulator]) -> Sequence[Finishing]:
        """Return the pieces of a whole picture, ready to be finished."""
        return settle_poses(cast("Sequence[PosesAccumulator]", pieces))

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        return held_row_bytes(intake, width)
