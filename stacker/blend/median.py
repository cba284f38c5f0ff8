"""The exact median of each channel, forgetting early what cannot become it.

With N frames to come in all, a value that already has more than N/2 greater or lesser ones can
never be the median. So at most N/2 + 1 values of a pixel are held at any time, and after the
last frame only the middle ones are left to find.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend, ValidMask
from stacker.blend.held_frames import held_row_bytes
from stacker.blend.intake import Intake
from stacker.blend.network import dropping_network, run_network
from stacker.blend.weighted_median import WeightedMedianAccumulator
from stacker.light.buffers import zeros
from stacker.light.encoding import CodedLight, Picture, PixelArray

# a block of each held frame, with the scratch, stays in the second-level cache
BLOCK_BYTES = 1 << 15


class MedianAccumulator(Accumulator):
    """The values of each pixel that may still be its median, unsorted, one array per slot."""

    def __init__(self, intake: Intake, rows: int, width: int) -> None:
        super().__init__(intake, rows, width)
        self.dtype = np.dtype(intake.encoding.stored)
        self.planes: list[npt.NDArray[Any]] = []
        self.free: list[npt.NDArray[Any]] = []
        self.dropped_low = 0
        self.dropped_high = 0

    @property
    def seen(self) -> int:
        """How many frames were added."""
        return len(self.planes) + self.dropped_low + self.dropped_high

    def add(self, pixels: PixelArray, *, index: int, valid: ValidMask | None = None) -> None:
        """Take in one frame."""
        if self.intake.weights[index] == 0:
            return
        if valid is not None:
            raise ValueError("a mask was given though the intake promised none")
        flat = pixels.reshape(-1)
        if len(self.planes) < slots(self.intake):
            plane = self.free.pop() if self.free else zeros(flat.shape, self.dtype)
            np.copyto(plane, flat)
            self.planes.append(plane)
        else:
            self._forget(flat)

    def merge(self, other: Self) -> None:
        """Take in what another accumulator has gathered."""
        self.dropped_low += other.dropped_low
        self.dropped_high += other.dropped_high
        for plane in other.planes:
            if len(self.planes) < slots(self.intake):
                self.planes.append(plane.copy())
            else:
                self._forget(plane)

    def _forget(self, incoming: npt.NDArray[Any]) -> None:
        """Take in one more array than there are slots, and free those that cannot matter."""
        expected, seen = self.intake.count, self.seen + 1
        # even if all frames still to come were brighter (or all darker), these stay outside
        low = max(0, (expected + 1) // 2 - 1 - (expected - seen) - self.dropped_low)
        high = max(0, seen - (expected // 2 + 1) - self.dropped_high)
        network = dropping_network(len(self.planes) + 1, low, high)
        block = BLOCK_BYTES // self.dtype.itemsize
        taken, spare = np.empty(block, self.dtype), np.empty(block, self.dtype)
        for start in range(0, incoming.size, block):
            piece = slice(start, min(start + block, incoming.size))
            size = piece.stop - piece.start
            np.copyto(taken[:size], incoming[piece])
            views = [plane[piece] for plane in self.planes]
            scratch = [taken[:size], spare[:size]]
            wires, _ = run_network(network, [*views, scratch[0]], scratch[1])
            kept = _settle(wires, network.kept, views)
        self.free += [plane for slot, plane in enumerate(self.planes) if slot not in kept]
        self.planes = [plane for slot, plane in enumerate(self.planes) if slot in kept]
        self.dropped_low += low
        self.dropped_high += high

    def result(self) -> Picture:
        """Return the median: the middle value, or the mean in light of the two middle ones."""
        if not self.planes:
            return np.zeros(self.shape, np.float32)
        seen = self.seen
        low = (seen + 1) // 2 - 1 - self.dropped_low
        high = seen - (seen // 2 + 1) - self.dropped_high
        network = dropping_network(len(self.planes), low, high)
        size = self.planes[0].size
        lower, upper = zeros((size,), self.dtype), zeros((size,), self.dtype)
        block = BLOCK_BYTES // self.dtype.itemsize
        copies = [np.empty(block, self.dtype) for _ in range(len(self.planes) + 1)]
        for start in range(0, size, block):
            piece = slice(start, min(start + block, size))
            views = [copy[: piece.stop - piece.start] for copy in copies]
            for view, plane in zip(views, self.planes, strict=False):
                np.copyto(view, plane[piece])
            wires, _ = run_network(network, views[:-1], views[-1])
            first, last = wires[network.kept[0]], wires[network.kept[-1]]
            np.minimum(first, last, out=lower[piece])
            np.maximum(first, last, out=upper[piece])
        return self._between(lower.reshape(self.shape), upper.reshape(self.shape))

    def _between(self, lower: npt.NDArray[Any], upper: npt.NDArray[Any]) -> Picture:
        """Return the mean in linear light of the two middle values."""
        encoding = self.intake.encoding
        if self.seen % 2 == 1 and not encoding.is_light:
            return CodedLight(lower, encoding.table())
        if self.dtype == np.uint8:
            # both codes make one index into a table of all pairs, so the mean stays exact
            both = zeros((*self.shape[:2], 6), np.uint8)
            both[:, :, 0::2], both[:, :, 1::2] = lower, upper
            light = encoding.table()
            of_pairs = ((light[np.newaxis, :] + light[:, np.newaxis]) / 2).ravel()
            return CodedLight(both.view(np.uint16), of_pairs)
        between = zeros(self.shape, np.float32)
        for row in range(self.shape[0]):
            ends = lower[row], upper[row]
            low, high = ends if encoding.is_light else (encoding.table()[end] for end in ends)
            # in float64, so that only the result is rounded
            between[row] = (low.astype(np.float64) + high) / 2
        return between


def _settle(
    wires: list[npt.NDArray[Any]], kept: tuple[int, ...], views: list[npt.NDArray[Any]]
) -> set[int]:
    """Return the slots that hold the kept values, after moving those that lie in the scratch."""
    slot_of = {id(view): slot for slot, view in enumerate(views)}
    slots_kept = {slot_of[id(wires[wire])] for wire in kept if id(wires[wire]) in slot_of}
    open_slots = [slot for slot in range(len(views)) if slot not in slots_kept]
    for wire in kept:
        if id(wires[wire]) not in slot_of:
            slot = open_slots.pop(0)
            np.copyto(views[slot], wires[wire])
            slots_kept.add(slot)
    return slots_kept


def slots(intake: Intake) -> int:
    """Return how many values of a pixel are held at the most."""
    return intake.count // 2 + 1


@dataclass(frozen=True)
class Median(Blend):
    """The middle value of each channel; what is there for less than half of the time vanishes."""

    name: ClassVar[str] = "median"
    summary: ClassVar[str] = "middle value of each channel: walkers and cars vanish"

    @property
    def running(self) -> bool:
        """Whether a result can be had half-way: what was forgotten counted on all frames."""
        return False

    def start(self, intake: Intake, rows: int, width: int) -> Accumulator:
        """Return an empty accumulator for a piece of the picture."""
        if intake.plain and not intake.masked:
            return MedianAccumulator(intake, rows, width)
        return WeightedMedianAccumulator(intake, rows, width)

    def row_bytes(self, intake: Intake, width: int) -> int:
        """Return the memory that an accumulator takes per row, in bytes."""
        if intake.plain and not intake.masked:
            return width * 3 * np.dtype(intake.encoding.stored).itemsize * slots(intake)
        return held_row_bytes(intake, width)
