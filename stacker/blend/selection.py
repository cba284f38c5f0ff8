"""The exact median of frames that all lie in memory, found bit by bit.

Of each pixel the least value is taken off first. Then the greatest number below which no half of
the frames lies is built from its highest bit down: for each bit one counts, pixel by pixel, the
frames below. That is as many looks at each frame as its light varies by in bits, where sorting
would move every value often.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.light.buffers import scratch, zeros
from stacker.light.encoding import CodedLight, Encoding, Picture, PixelArray, look_up

# bytes of all frames worked on at a time: with as many bits of what lies below, in the cache
BLOCK_BYTES = 3 << 19
# samples of a frame in a block, so that calls do not cost more than the work
LEAST_SAMPLES = 1 << 11
CodeValues = npt.NDArray[Any]


def median_of(frames: Sequence[PixelArray], encoding: Encoding, workers: int) -> Picture:
    """Return the median of each channel; of an even number, the mean in light of the middle two.

    Parameters
    ----------
    frames : at least one, uint8 or uint16 (H, W, 3) in ``encoding``; not changed.
    workers : threads; the result does not hang on their number.
    """
    flat = [frame.reshape(-1) for frame in frames]
    size, kind = flat[0].size, flat[0].dtype
    step = max(LEAST_SAMPLES, BLOCK_BYTES // (len(frames) * kind.itemsize))
    lower, upper = zeros((size,), kind), zeros((size,), kind)

    def find(start: int) -> None:
        part = slice(start, min(start + step, size))
        block = scratch("values of frames", (len(flat), part.stop - start), kind)
        for row, values in zip(block, flat, strict=True):
            row[:] = values[part]
        lower[part], upper[part] = middle_two(block)

    with ThreadPoolExecutor(workers, thread_name_prefix="median") as pool:
        # asked for, so that an error is raised
        list(pool.map(find, range(0, size, step)))
    shape = frames[0].shape
    if len(frames) % 2:
        return CodedLight(lower.reshape(shape), encoding.table())
    # half of each, in float32: the mean is rounded once, as halving is exact
    half = (encoding.table() / 2).astype(np.float32)
    light = look_up(lower, half)
    light += look_up(upper, half)
    return light.reshape(shape)


def middle_two(block: CodeValues) -> tuple[CodeValues, CodeValues]:
    """Return the lower and the upper of the middle two values of each column, which is changed.

    Parameters
    ----------
    block : uint8 or uint16 (N, S); of an odd number of rows the two are one.
    """
    count = (len(block) + 1) // 2
    least = block.min(axis=0)
    block -= least
    counting = np.uint8 if len(block) < 256 else np.uint16
    below = scratch("what lies below", block.shape, np.bool_)
    found = np.zeros_like(least)
    for bit in reversed(range(int(block.max()).bit_length())):
        trial = found | block.dtype.type(1 << bit)
        np.less(block, trial, out=below)
        number = np.add.reduce(below.view(np.uint8), axis=0, dtype=counting)
        # with fewer than so many below, the value sought is not below the trial
        np.copyto(found, trial, where=number < count)
    if len(block) % 2:
        return least + found, least + found
    return least + found, least + _next(block, found, below, counting)


def _next(block: CodeValues, value: CodeValues, upto: CodeValues, counting: Any) -> CodeValues:
    """Return the value at the rank after the middle, ``value`` being the lower of the middle two.

    Notes
    -----
    Values less ``value + 1`` wrap round below zero where they are not above it, to more than any
    that is above: so the least of them tells the next greater one without a choice in between.
    """
    np.less_equal(block, value, out=upto)
    number = np.add.reduce(upto.view(np.uint8), axis=0, dtype=counting)
    start = value + value.dtype.type(1)
    block -= start
    return np.where(number > len(block) // 2, value, start + block.min(axis=0))
