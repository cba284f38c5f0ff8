"""Bridged light laid into a picture: kept in tiles, as most of a picture has none."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.blend import Finishing
from stacker.blend.lights import SettledLights
from stacker.bridge import Confidence, Patch
from stacker.light.encoding import CodedLight, LightArray, Picture, as_light
from stacker.light.luminance import luminance

TILE = 256
# light that is added is snapped to 2^-32 so that sums are exact and their order does not matter
GRAIN = 2.0**-32


class LaidLight:
    """Light of patches, joined as ``joins`` says; open to one thread at a time.

    Parameters
    ----------
    joins : ``greater`` where the greater light stays, ``added`` where patches add up.
    luminance_weights : given, the patch with the greater luminance stays as a whole pixel.
    """

    def __init__(
        self, *, added: bool, luminance_weights: tuple[float, float, float] | None = None
    ) -> None:
        self.added = added
        self.luminance_weights = luminance_weights
        self._tiles: dict[tuple[int, int], tuple[npt.NDArray[Any], Confidence]] = {}
        self._turn = threading.Lock()

    def __bool__(self) -> bool:
        """Whether any light was laid."""
        return bool(self._tiles)

    def lay(self, patch: Patch, factor: float) -> None:
        """Join a patch, its light times ``factor``."""
        with self._turn:
            for tile, here, there in _tiles_of(patch):
                if not patch.light[there].any():
                    continue
                if tile not in self._tiles:
                    self._tiles[tile] = (
                        np.zeros((TILE, TILE, 3), np.float64 if self.added else np.float32),
                        np.zeros((TILE, TILE), np.float32),
                    )
                light, confidence = self._tiles[tile]
                self._join(light[here], patch.light[there], factor)
                sure = np.where(patch.light[there].any(axis=2), patch.confidence[there], 0)
                np.maximum(confidence[here], sure, out=confidence[here])

    def _join(self, light: npt.NDArray[Any], new: LightArray, factor: float) -> None:
        if self.added:
            light += np.rint(new * (factor / GRAIN)) * GRAIN
        else:
            self.keep_greater(light, new * np.float32(factor))

    def keep_greater(self, light: LightArray, new: LightArray) -> npt.NDArray[np.bool_]:
        """Let the greater light stay; return the pixels in which the new one won somewhere."""
        if self.luminance_weights is None:
            # 0 is no light, where a calibrated picture may lie below
            greater = (new > light) & (new > 0)
            np.copyto(light, new, where=greater)
            return np.asarray(greater.any(axis=2))
        theirs = luminance(np.ascontiguousarray(new), self.luminance_weights)
        ours = luminance(np.ascontiguousarray(light), self.luminance_weights)
        won = (theirs > ours) & new.any(axis=2)
        light[won] = new[won]
        return np.asarray(won)

    def tiles_in(
        self, rows: range
    ) -> Iterator[tuple[tuple[slice, slice], npt.NDArray[Any], Confidence]]:
        """Yield where tiles lie within some rows, with the light and the confidence there.

        The place is a pair of slices, of the rows counted from the first of ``rows``.
        """
        for (row, column), (light, confidence) in self._tiles.items():
            top, bottom = max(rows.start, row * TILE), min(rows.stop, (row + 1) * TILE)
            if top >= bottom:
                continue
            inside = slice(top - row * TILE, bottom - row * TILE)
            left = column * TILE
            place = (slice(top - rows.start, bottom - rows.start), slice(left, left + TILE))
            yield place, light[inside], confidence[inside]


def _tiles_of(
    patch: Patch,
) -> Iterator[tuple[tuple[int, int], tuple[slice, slice], tuple[slice, slice]]]:
    """Yield the tiles that a patch touches: which, where in the tile, where in the patch."""
    height, width = patch.confidence.shape
    for row in range(patch.top // TILE, (patch.top + height - 1) // TILE + 1):
        for column in range(patch.left // TILE, (patch.left + width - 1) // TILE + 1):
            top, left = max(patch.top, row * TILE), max(patch.left, column * TILE)
            bottom = min(patch.top + height, (row + 1) * TILE)
            right = min(patch.left + width, (column + 1) * TILE)
            here = (
                slice(top - row * TILE, bottom - row * TILE),
                slice(left - column * TILE, right - column * TILE),
            )
            there = (
                slice(top - patch.top, bottom - patch.top),
                slice(left - patch.left, right - patch.left),
            )
            yield (row, column), here, there


@dataclass(frozen=True, eq=False)
class BridgedPiece:
    """A piece of a picture with the bridged light of its rows.

    Parameters
    ----------
    piece : the piece without.
    laid : the bridged light of the whole region.
    rows : the rows of the region that the piece holds.
    left : the first column of the piece that lies in the region.
    scale : what added light is multiplied by: one by the weight of all frames, for a mean.
    """

    piece: Picture | Finishing
    laid: LaidLight
    rows: range
    left: int
    scale: float = 1.0

    @property
    def is_changed(self) -> bool:
        """Whether light was laid into its rows."""
        return next(self.laid.tiles_in(self.rows), None) is not None

    def result(self) -> Picture:
        """Return the piece with the light of the gaps; the very same where there is none."""
        whole = self._plain()
        tiles = list(self.laid.tiles_in(self.rows))
        if not tiles:
            return whole
        light = as_light(whole) if isinstance(whole, CodedLight) else whole.copy()
        for place, new, _ in tiles:
            self._joined(self._within(light, place), self._kept(new, place))
        return light

    def confidence(self, width: int) -> Confidence:
        """Return how sure each pixel is that was changed, float32 (rows, width), else 0."""
        sure = np.zeros((len(self.rows), width), np.float32)
        tiles = list(self.laid.tiles_in(self.rows))
        light = as_light(self._plain()) if tiles else None
        for place, new, confidence in tiles:
            assert light is not None
            old = self._within(light, place).copy()
            changed = self._joined(old, self._kept(new, place))
            target = sure[place]
            target[changed] = confidence[:, : target.shape[1]][changed]
        return sure

    def _plain(self) -> Picture:
        piece = self.piece
        return piece if isinstance(piece, np.ndarray | CodedLight) else piece.result()

    def _within(self, light: LightArray, place: tuple[slice, slice]) -> LightArray:
        rows, columns = place
        return light[rows, self.left + columns.start : self.left + columns.stop]

    def _kept(self, new: npt.NDArray[Any], place: tuple[slice, slice]) -> npt.NDArray[Any]:
        """Return what the blend keeps of laid light: all, but where it asks for lamps."""
        if not isinstance(self.piece, SettledLights):
            return new
        rows, columns = place
        start = self.left + columns.start
        width = min(new.shape[1], self.piece.accumulator.shape[1] - start)
        return self.piece.kept_of(new[:, :width], rows, slice(start, start + width))

    def _joined(self, light: LightArray, new: npt.NDArray[Any]) -> npt.NDArray[np.bool_]:
        """Join laid light with the picture's, in place; return which pixels it changed."""
        new = new[:, : light.shape[1]]
        if not self.laid.added:
            return self.laid.keep_greater(light, new)
        changed = new.any(axis=2)
        light[changed] += (new[changed] * self.scale).astype(np.float32)
        return np.asarray(changed)
