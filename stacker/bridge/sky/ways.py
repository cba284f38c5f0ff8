"""The ways that stars take across the picture, and the pixels that lie along them.

A way is cut into pieces so short that each is a chord with a slight bow. A pixel is placed by how
far along a piece it lies, and how far across.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from stacker.register.sky.lens import Lens
from stacker.register.sky.points import BoolArray, Float64Array
from stacker.register.sky.stars import IntArray
from stacker.register.sky.turns import turn_about

Float32Array = npt.NDArray[np.float32]

# pieces are at most so long, and bend by so much at most: what a parabola explains to 0.01 px
PIECE_PX, PIECE_RAD = 14.0, 0.15
# places by which the length of a way is told
SAMPLES = 5


@dataclass(frozen=True, eq=False)
class Turn:
    """How the sky turns from the middle of one exposure to the middle of the next.

    ``start`` (3, 3) takes the burst's rays to those of the earlier frame; ``step`` (3,) is the
    turn from there to the later. Moments are told in shares of the step: 0 and 1 are the middles.
    """

    lens: Lens
    start: Float64Array
    step: Float64Array

    def place(self, stars: Float64Array, moment: Float64Array) -> Float64Array:
        """Return where stars (N, 3) are at moments (N,), px (N, 2)."""
        turns = turn_about(moment[:, None] * self.step)
        return self.lens.project(np.einsum("nij,nj->ni", turns, stars @ self.start.T))


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of ways, in order along each: ``star`` (P,) whose, ``start`` and ``chord`` (P, 2) px,
    ``bow`` (P, 2) px how far its middle lies from the chord's, ``begun_px`` (P,) how much of the
    way lies before it, ``first`` and ``last`` (P,) moments, ``is_first``, ``is_last`` (P,) whether
    it is at an end of its way, ``way_px`` (P,) how long that is."""

    star: IntArray
    start: Float64Array
    chord: Float64Array
    bow: Float64Array
    begun_px: Float64Array
    first: Float64Array
    last: Float64Array
    is_first: BoolArray
    is_last: BoolArray
    way_px: Float64Array

    def parts(self, most: int) -> Iterator[Pieces]:
        """Give the pieces, so many at a time."""
        for begin in range(0, len(self.star), most):
            part = slice(begin, begin + most)
            yield Pieces(*(getattr(self, each.name)[part] for each in fields(self)))


@dataclass(frozen=True, eq=False)
class Strip:
    """Pixels along ways, float32 and whole numbers (Q,).

    ``star`` whose; ``row``, ``column``; ``moment`` when it passes there; ``along`` px from the
    way's beginning; ``across`` px to its side.
    """

    star: IntArray
    row: IntArray
    column: IntArray
    moment: Float32Array
    along: Float32Array
    across: Float32Array


def pieces_of(turn: Turn, stars: Float64Array, first: float, last: float) -> Pieces:
    """Return the ways of stars (N, 3) between two moments."""
    count = len(stars)
    moments = np.linspace(first, last, SAMPLES)
    nodes = turn.place(np.repeat(stars, SAMPLES, axis=0), np.tile(moments, count))
    steps = np.diff(nodes.reshape(count, SAMPLES, 2), axis=1)
    length = np.linalg.norm(steps, axis=2).sum(axis=1)
    bend = float(np.linalg.norm(turn.step)) * (last - first)
    number = np.maximum(np.ceil(length / PIECE_PX), np.ceil(bend / PIECE_RAD)).astype(np.intp)
    number = np.maximum(number, 1)
    star = np.repeat(np.arange(count), number)
    ends = np.cumsum(number)
    rank = np.arange(len(star)) - np.repeat(ends - number, number)
    share = (last - first) / number[star]
    begin, end = first + rank * share, first + (rank + 1) * share
    rays = stars[star]
    start, middle, stop = (turn.place(rays, at) for at in (begin, (begin + end) / 2, end))
    chord = stop - start
    size = np.linalg.norm(chord, axis=1)
    total = np.cumsum(size)
    before = np.concatenate([[0.0], total])[ends - number]
    begun = total - size - before[star]
    return Pieces(
        star, start, chord, middle - (start + stop) / 2, begun, begin, end, rank == 0,
        rank == number[star] - 1, np.diff(np.concatenate([[0.0], total])[np.append(ends - number,
        len(star))]),
    )  # fmt: skip


def strip_of(
    pieces: Pieces, reach_px: Float64Array, beyond_px: float, shape: tuple[int, int]
) -> Strip:
    """Return the pixels along pieces.

    Parameters
    ----------
    reach_px : (P,) how far to the sides of each piece.
    beyond_px : how far beyond the ends of a way; pieces overlap by half a pixel within it.
    shape : rows and columns of the picture.
    """
    size = np.linalg.norm(pieces.chord, axis=1)
    # a star at the pole goes nowhere; its piece is a point
    unit = np.where(size[:, None] > 1e-6, pieces.chord / np.maximum(size, 1e-6)[:, None], [1.0, 0])
    upright = np.abs(unit[:, 1]) > np.abs(unit[:, 0])
    main = np.where(upright, 1, 0)
    every = np.arange(len(size))
    start_main, start_side = pieces.start[every, main], pieces.start[every, 1 - main]
    unit_main, unit_side = unit[every, main], unit[every, 1 - main]
    wide = reach_px * np.abs(unit_side) + max(beyond_px, 0.5) * np.abs(unit_main)
    stop_main = start_main + unit_main * size
    low = np.floor(np.minimum(start_main, stop_main) - wide)
    long = (np.ceil(np.maximum(start_main, stop_main) + wide) - low).astype(np.intp) + 1
    bulge = np.linalg.norm(pieces.bow, axis=1)
    side = np.ceil((reach_px + bulge) / np.abs(unit_main)).astype(np.intp)
    across_count = 2 * side + 1
    pixels = long * across_count
    piece = np.repeat(every, pixels)
    rank = np.arange(len(piece)) - np.repeat(np.cumsum(pixels) - pixels, pixels)
    step, offset = np.divmod(rank, across_count[piece])
    at_main = low[piece] + step
    slope = unit_side / unit_main
    middle = start_side[piece] + (at_main - start_main[piece]) * slope[piece]
    at_side = np.rint(middle) + offset - side[piece]
    lies_upright = upright[piece]
    column = np.where(lies_upright, at_side, at_main)
    row = np.where(lies_upright, at_main, at_side)
    dx, dy = column - pieces.start[piece, 0], row - pieces.start[piece, 1]
    ux, uy = unit[piece, 0], unit[piece, 1]
    along = dx * ux + dy * uy
    share = along / np.maximum(size, 1e-6)[piece]
    bow = pieces.bow[:, 1] * unit[:, 0] - pieces.bow[:, 0] * unit[:, 1]
    inner = np.clip(share, 0, 1)
    across = dy * ux - dx * uy - 4 * inner * (1 - inner) * bow[piece]
    before = np.where(pieces.is_first, beyond_px, 0.5)[piece]
    after = np.where(pieces.is_last, beyond_px, 0.5)[piece]
    keep = (np.abs(across) <= reach_px[piece]) & (along >= -before)
    keep &= along <= size[piece] + after
    keep &= (row >= 0) & (row < shape[0]) & (column >= 0) & (column < shape[1])
    piece, share = piece[keep], inner[keep]
    moment = pieces.first[piece] + share * (pieces.last - pieces.first)[piece]
    return Strip(
        pieces.star[piece], row[keep].astype(np.intp), column[keep].astype(np.intp),
        moment.astype(np.float32), (pieces.begun_px[piece] + along[keep]).astype(np.float32),
        across[keep].astype(np.float32),
    )  # fmt: skip
