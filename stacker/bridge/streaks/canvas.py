"""Trails that overlap: their light adds up, as it does in one exposure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from stacker.bridge.base import Patch
from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.streak import FloatArray
from stacker.light.encoding import LightArray

# a gap's trails are laid on pieces of the picture of this size, px, where there are any
TILE_PX = 128
# a streak's own end counts so many times before what is left is another's light: its rounding is
# known to about this
OWN_END = 1.25
# neighbours share light in so many turns, each keeping at least this part of what is seen
TURNS, LEAST_PART = 20, 0.2


@dataclass(frozen=True, eq=False)
class Painted:
    """A piece of a trail: where its first pixel lies, its light over the background, (h, w, 3),
    what of it is the streaks' own in the earlier and later frame, and how sure it is."""

    top: int
    left: int
    light: LightArray
    own: tuple[LightArray, LightArray]
    confidence: float


def alone(piece: Painted, background: Background) -> Patch:
    """Return the patch of a piece of a trail to which no other adds."""
    lit = np.asarray(piece.light.any(axis=2))
    window = (slice(piece.top, piece.top + lit.shape[0]),
              slice(piece.left, piece.left + lit.shape[1]))  # fmt: skip
    light = (background.light[window].astype(np.float32) + piece.light) * lit[..., None]
    return Patch(piece.top, piece.left, light, np.asarray(piece.confidence * lit, np.float32))


class Canvas:
    """Collects the trails of a gap that add up."""

    def __init__(self, background: Background) -> None:
        self._background = background
        self._tiles: dict[tuple[int, int], tuple[FloatArray, FloatArray]] = {}

    def lay(self, piece: Painted) -> None:
        """Add the light of a piece of a trail."""
        h, w = piece.light.shape[:2]
        height, width = self._background.unrest.shape
        for row in range(piece.top // TILE_PX, (piece.top + h - 1) // TILE_PX + 1):
            for column in range(piece.left // TILE_PX, (piece.left + w - 1) // TILE_PX + 1):
                top, left = row * TILE_PX, column * TILE_PX
                tile = self._tiles.get((row, column))
                if tile is None:
                    size = (min(TILE_PX, height - top), min(TILE_PX, width - left))
                    tile = (np.zeros((3, *size, 3), np.float32), np.zeros(size, np.float32))
                    self._tiles[row, column] = tile
                y0, x0 = max(piece.top, top), max(piece.left, left)
                y1 = min(piece.top + h, top + tile[1].shape[0])
                x1 = min(piece.left + w, left + tile[1].shape[1])
                there = (slice(y0 - top, y1 - top), slice(x0 - left, x1 - left))
                here = (slice(y0 - piece.top, y1 - piece.top),
                        slice(x0 - piece.left, x1 - piece.left))  # fmt: skip
                for number, light in enumerate((piece.light, *piece.own)):
                    tile[0][number][there] += light[here]
                lit = piece.light[here].any(axis=2)
                np.maximum(tile[1][there], piece.confidence * lit, out=tile[1][there])

    def patches(self, earlier: LightArray, later: LightArray) -> Iterator[Patch]:
        """Yield what was laid, over the light of others in the frames about the gap."""
        for (row, column), (lights, sure) in sorted(self._tiles.items(), key=lambda item: item[0]):
            top, left = row * TILE_PX, column * TILE_PX
            window = (slice(top, top + sure.shape[0]), slice(left, left + sure.shape[1]))
            others = np.zeros_like(lights[0])
            for frame, own in ((earlier, lights[1]), (later, lights[2])):
                np.maximum(others, self._background.excess(frame, window) - OWN_END * own,
                           out=others)  # fmt: skip
            lit = sure > 0
            light = self._background.light[window].astype(np.float32) + lights[0] + others
            yield Patch(top, left, light * lit[..., None], sure)


def own_parts(
    starts: FloatArray, headings: FloatArray, widths: FloatArray, lengths: FloatArray,
    tips: FloatArray, light: FloatArray,
) -> FloatArray:  # fmt: skip
    """Return which part of the light seen at each of N streaks is its own, (N,), not that of
    neighbours that run beside it.

    Parameters
    ----------
    starts, headings : (N, 2), where each is looked at, and where it goes.
    widths, lengths, tips : (N,) px; how far it comes from and goes on, beyond where it is seen.
    light : (N,), what is seen.
    """
    away = starts[:, None] - starts[None]
    along = (away * headings[None]).sum(axis=2)
    side = away[..., 0] * headings[None, :, 1] - away[..., 1] * headings[None, :, 0]
    beside = (along > -lengths[None]) & (along < tips[None])
    share = np.exp(-4 * np.log(2) * (side / widths[None]) ** 2) * beside
    np.fill_diagonal(share, 1)
    own = np.maximum(light, 1e-9)
    for _ in range(TURNS):
        own = own * np.maximum(light, 1e-9) / (share @ own)
    return np.asarray(np.clip(own / np.maximum(light, 1e-9), LEAST_PART, 1), np.float32)


def mean_light(sections: Sequence[FloatArray]) -> FloatArray:
    """Return the greatest light of each of N sections (m, 3), mean of the channels, (N,)."""
    return np.array([section.mean(axis=1).max() for section in sections], np.float32)
