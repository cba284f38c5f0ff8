"""A picture mixed of several exposures, each shown where its mask says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from stacker.blend import Finishing
from stacker.blend.mixing import MaskArray, ShareArray, mix_over, shares
from stacker.bridge import Confidence
from stacker.engine.cover import Region as Rectangle
from stacker.engine.laid import BridgedPiece
from stacker.engine.spool import Spool, SpooledPiece
from stacker.light.encoding import CodedLight, LightArray, Picture, as_light
from stacker.light.space import ColourSpace
from stacker.light.white_balance import WhiteBalance, apply_balance
from stacker.register import Warp

# rows that are mixed at once: three pictures of them stay in the cache
MIXED_ROWS = 64


class Covers(Protocol):
    """Says where a layer has something to show."""

    def __call__(self, rows: range) -> npt.NDArray[np.bool_] | None:
        """Return where, bool (rows, W); everywhere if None."""


@dataclass(frozen=True)
class Balanced:
    """A white balance for light in a space whose white is ``white``."""

    balance: WhiteBalance
    space: ColourSpace
    white: float

    def __call__(self, light: LightArray) -> LightArray:
        """Return the balanced light, float32 (rows, W, 3)."""
        return apply_balance(self.balance, light, self.space, white=self.white)

    @property
    def brightest(self) -> float:
        """The greatest light there can be."""
        return self.white * self.balance.greatest_gain(self.space)


@dataclass(eq=False)
class Layer:
    """One exposure of the whole picture, asked for by rows from top to bottom.

    Parameters
    ----------
    pieces, rows : the exposure's pieces and the reference's rows that each holds.
    region : what of the reference the exposure is.
    mask : uint16 (H, W) of the reference, where it shows; None for what lies below all others.
    covers : where it has something to show.
    sure : how sure the light of gaps is, a piece each; none where nothing was bridged.
    balanced : its white balance; its light is as it came if None.
    """

    pieces: Sequence[Picture | Finishing]
    rows: Sequence[range]
    region: Rectangle
    mask: MaskArray | None
    covers: Covers
    sure: Sequence[SpooledPiece | BridgedPiece | None] = ()
    balanced: Balanced | None = None

    def __post_init__(self) -> None:
        self._finished: tuple[int, Picture] | None = None

    def share(self, rows: range) -> ShareArray | None:
        """Return how much of it shows, float32 (rows, W); None for all of it."""
        if self.mask is None:
            return None
        share = shares(self.mask[rows.start : rows.stop])
        if share.any() and (covered := self.covers(rows)) is not None:
            share *= covered
        return share

    def light(self, rows: range) -> LightArray:
        """Return the light of some rows of the reference, float32 (rows, W, 3), to be changed."""
        parts = []
        for number, own in enumerate(self.rows):
            top, bottom = max(rows.start, own.start), min(rows.stop, own.stop)
            if top < bottom:
                parts.append(_rows_of(self._piece(number), top - own.start, bottom - own.start))
        light = parts[0] if len(parts) == 1 else np.concatenate(parts)
        return light if self.balanced is None else self.balanced(light)

    def confidence(self, rows: range, width: int) -> Confidence:
        """Return how sure the light of gaps is, float32 (rows, width), from the first column of
        the reference on; 0 where there is none."""
        sure = np.zeros((len(rows), width), np.float32)
        left = self.region.columns.start
        for piece, own in zip(self.sure, self.rows, strict=False):
            top, bottom = max(rows.start, own.start), min(rows.stop, own.stop)
            if piece is None or top >= bottom:
                continue
            whole = (
                piece.confidence(len(self.region.columns))
                if isinstance(piece, BridgedPiece)
                else np.asarray(piece.result())
            )
            part = whole[top - own.start : bottom - own.start]
            sure[top - rows.start : bottom - rows.start, left : left + part.shape[1]] = part
        return sure

    def _piece(self, number: int) -> Picture:
        """Return a finished piece; the last one is kept, as rows come in their order."""
        if self._finished is None or self._finished[0] != number:
            self._finished = None
            self._finished = number, _finished(self.pieces[number])
        return self._finished[1]


def layer_of(
    pieces: Sequence[Picture | Finishing],
    rows: Sequence[range],
    region: Rectangle,
    mask: MaskArray | None,
    covers: Covers,
) -> Layer:
    """Return the layer of an exposure that stays in memory."""
    sure = [piece if isinstance(piece, BridgedPiece) else None for piece in pieces]
    return Layer(pieces, rows, region, mask, covers, sure if any(sure) else ())


def waiting(pieces: Sequence[Picture | Finishing], spool: Spool) -> list[SpooledPiece]:
    """Return finished pieces that wait on disk, so that the memory is free for the next pass."""
    return [spool.put(_finished(piece)) for piece in pieces]


def sure_waiting(
    pieces: Sequence[Picture | Finishing], width: int, spool: Spool
) -> list[SpooledPiece | None]:
    """Return how sure the light of gaps is, waiting on disk; None for pieces without any."""
    return [
        spool.put(piece.confidence(width)) if isinstance(piece, BridgedPiece) else None
        for piece in pieces
    ]


@dataclass(frozen=True, eq=False)
class MixedPiece:
    """Some rows of the reference, mixed of layers; each lies over those before it."""

    layers: Sequence[Layer]
    rows: range

    @property
    def is_bridged(self) -> bool:
        """Whether light of gaps may be in it."""
        return any(layer.sure for layer in self.layers)

    def result(self) -> Picture:
        """Return the light, float32 (rows, W, 3)."""
        light = self.layers[0].light(self.rows)
        for layer in self.layers[1:]:
            share = layer.share(self.rows)
            if share is not None and share.any():
                mix_over(light, layer.light(self.rows), share)
        return light

    def confidence(self, columns: range) -> Confidence:
        """Return how sure the light of gaps is that shows, float32 (rows, columns)."""
        width = columns.stop
        sure = self.layers[0].confidence(self.rows, width)
        for layer in self.layers[1:]:
            share = layer.share(self.rows)
            if share is not None:
                share = share[:, :width]
                sure += share * (layer.confidence(self.rows, width) - sure)
        return sure[:, columns.start :]


def mixed_pieces(layers: Sequence[Layer], rows: range) -> list[MixedPiece]:
    """Return the pieces of a picture mixed of layers, from top to bottom."""
    return [
        MixedPiece(layers, range(top, min(top + MIXED_ROWS, rows.stop)))
        for top in range(rows.start, rows.stop, MIXED_ROWS)
    ]


def everywhere(rows: range) -> None:
    """Say that a layer has something to show everywhere."""


def covered_by(warps: Sequence[Warp]) -> Covers:
    """Return where any of some frames has something to say."""

    def covers(rows: range) -> npt.NDArray[np.bool_]:
        covered = warps[0].valid(rows.start, rows.stop)
        for warp in warps[1:]:
            if covered.all():
                break
            covered |= warp.valid(rows.start, rows.stop)
        return covered

    return covers


def _finished(piece: Picture | Finishing) -> Picture:
    return piece if isinstance(piece, np.ndarray | CodedLight) else piece.result()


def _rows_of(picture: Picture, top: int, bottom: int) -> LightArray:
    """Return the light of some rows of a finished piece, to be changed."""
    if isinstance(picture, CodedLight):
        return as_light(CodedLight(picture.codes[top:bottom], picture.table))
    return picture[top:bottom].copy()
