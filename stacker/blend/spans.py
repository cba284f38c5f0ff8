"""Blends of any span of frames that lie in memory, quickly, for whoever drags the span's ends.

What neighbouring frames come to is worked out beforehand, for a few of them at a time: sums from
the first frame on, so that a span is the difference of two; extremes of blocks, so that a span is a
few blocks and the frames at its ends. Sums are of whole numbers, so differences are exact.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from stacker.blend.base import Accumulator, Blend
from stacker.blend.intake import Intake
from stacker.light.buffers import zeros
from stacker.light.encoding import Encoding, LightArray, Picture, PixelArray

# frames from one kept sum, or block, to the next: at the ends of a span as many are added by hand
STEP = 8
# samples worked on at a time: codes, light and sum stay in the cache
BLOCK_SAMPLES = 1 << 15
# an int32 holds the light of all frames, white being 2 to the power of so many bits for one
SUM_BITS = 30
Int32Array = npt.NDArray[np.int32]
Frames = Sequence[PixelArray | None]


class SpanSums:
    """Sums of light over any frames; ``frames`` may still be filled, but none is changed.

    Parameters
    ----------
    frames : codes, uint8 or uint16 (H, W, 3) each; None where there is none (yet).
    weights : how much each of them counts, 0 to 1; all alike if None.
    """

    def __init__(
        self, frames: Frames, encoding: Encoding, weights: Sequence[float] | None = None
    ) -> None:
        self.frames = frames
        self.weights = (1.0,) * len(frames) if weights is None else tuple(weights)
        # room for all of them at full light
        self.bits = SUM_BITS - max(0, len(frames) - 1).bit_length()
        self._tables = {
            weight: np.rint(encoding.table() * (weight * 2.0**self.bits)).astype(np.int32)
            for weight in set(self.weights)
        }
        self._kept: list[Int32Array] = []
        self._turn = threading.Lock()

    def prepare(self, known: int) -> None:
        """Work out what spans of the first ``known`` frames will need."""
        if any(frame is not None for frame in self.frames[:known]):
            self._until(known // STEP)

    @cached_property
    def _shape(self) -> tuple[int, ...]:
        return next(frame.shape for frame in self.frames if frame is not None)

    def mean(self, places: Sequence[int], *, known: int) -> LightArray:
        """Return the mean of the light, float32 (H, W, 3); see ``sum``."""
        return self._scaled(places, known, 1 / sum(self.weights[place] for place in places))

    def sum(self, places: Sequence[int], *, known: int) -> LightArray:
        """Return the light added up, float32 (H, W, 3).

        Parameters
        ----------
        places : ascending, at least one; frames that are there.
        known : frames before this one are all that there will be, so that sums of them may be kept.
        """
        return self._scaled(places, known, 1.0)

    def _scaled(self, places: Sequence[int], known: int, factor: float) -> LightArray:
        total = self._total(places, known)
        light = np.empty(total.shape, np.float32)
        grain = np.float32(factor * 2.0**-self.bits)
        _by_blocks(lambda a, b: np.multiply(a, grain, out=b, casting="same_kind"), total, light)
        return light

    def _total(self, places: Sequence[int], known: int) -> Int32Array:
        total: Int32Array | None = None
        for first, last in runs_of(places):
            total = self._run(first, last + 1, known, total)
        assert total is not None
        return total

    def _run(self, start: int, stop: int, known: int, total: Int32Array | None) -> Int32Array:
        """Return ``total`` with the frames from ``start`` to ``stop`` added to it."""
        low, high = round(start / STEP), round(min(stop, known) / STEP)
        # two sums of all frames cost about as much as two frames
        by_hand = abs(start - low * STEP) + abs(stop - high * STEP) + 2
        if high <= low or by_hand >= stop - start or high * STEP > known:
            for place in range(start, stop):
                total = self._put(total, place, cv2.add)
            return zeros(self._shape, np.int32) if total is None else total
        upper, lower = self._until(high), self._until(low)
        if total is None:
            total = zeros(upper.shape, np.int32)
        _by_blocks(_add_difference, upper, lower, total)
        for place in range(start, low * STEP):
            total = self._put(total, place, cv2.add)
        for place in range(low * STEP, start):
            total = self._put(total, place, cv2.subtract)
        for place in range(high * STEP, stop):
            total = self._put(total, place, cv2.add)
        for place in range(stop, high * STEP):
            total = self._put(total, place, cv2.subtract)
        return total

    def _until(self, number: int) -> Int32Array:
        """Return the sum of the first ``number`` times ``STEP`` frames."""
        with self._turn:
            if not self._kept:
                self._kept.append(zeros(self._shape, np.int32))
            while len(self._kept) <= number:
                total = self._kept[-1].copy()
                start = (len(self._kept) - 1) * STEP
                for place in range(start, start + STEP):
                    self._put(total, place, cv2.add)
                self._kept.append(total)
            return self._kept[number]

    def _put(self, total: Int32Array | None, place: int, how: Any) -> Int32Array:
        """Return the total with a frame added to it or taken away, in place."""
        if total is None:
            total = zeros(self._shape, np.int32)
        frame = self.frames[place]
        if frame is None:
            return total
        table = self._tables[self.weights[place]]
        codes, flat = frame.reshape(1, -1), total.reshape(1, -1)
        for start in range(0, codes.shape[1], BLOCK_SAMPLES):
            block = slice(start, start + BLOCK_SAMPLES)
            light = cv2.LUT(codes[:, block], table)
            target = flat[:, block]
            how(target, light, target)
        return total


class SpanBlocks:
    """A blend over any frames, by way of accumulators of ``STEP`` neighbours each.

    For blends whose accumulators do not grow with the frames: lighten, darken, max.
    """

    def __init__(self, frames: Frames, encoding: Encoding, blend: Blend) -> None:
        self.frames = frames
        self.blend = blend
        self.intake = Intake(encoding, (1.0,) * len(frames), ordered=True)
        self._kept: dict[int, Accumulator] = {}
        self._turn = threading.Lock()

    def result(self, places: Sequence[int]) -> Picture:
        """Return the blend of frames at ascending places, all of which are there."""
        wanted = set(places)
        blended = self._start()
        done = -1
        for place in places:
            if place <= done:
                continue
            block = range(place, place + STEP)
            if place % STEP == 0 and wanted.issuperset(block):
                blended.merge(self._block(place))
                done = block[-1]
            else:
                self._add(blended, place)
        return blended.result()

    def _block(self, first: int) -> Accumulator:
        with self._turn:
            if first not in self._kept:
                block = self._start()
                for place in range(first, first + STEP):
                    self._add(block, place)
                self._kept[first] = block
            return self._kept[first]

    def _start(self) -> Accumulator:
        height, width = next(f.shape[:2] for f in self.frames if f is not None)
        return self.blend.start(self.intake, height, width)

    def _add(self, blended: Accumulator, place: int) -> None:
        frame = self.frames[place]
        assert frame is not None
        blended.add(frame, index=place)


def runs_of(places: Sequence[int]) -> list[tuple[int, int]]:
    """Return first and last of each stretch of neighbouring places, which ascend."""
    cuts = [k + 1 for k, (one, two) in enumerate(pairwise(places)) if two != one + 1]
    edges = [0, *cuts, len(places)]
    return [(places[start], places[stop - 1]) for start, stop in pairwise(edges)]


def _add_difference(upper: Int32Array, lower: Int32Array, total: Int32Array) -> None:
    total += upper
    total -= lower


def _by_blocks(act: Any, *arrays: npt.NDArray[Any]) -> None:
    """Call ``act`` with the same part of each array after the other, small enough for the cache."""
    flat = [array.reshape(-1) for array in arrays]
    for start in range(0, flat[0].size, BLOCK_SAMPLES):
        act(*(each[start : start + BLOCK_SAMPLES] for each in flat))
