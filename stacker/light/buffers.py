"""Large arrays in large pages.

A first write to fresh memory costs a page fault for each 4 KiB: half a second to two seconds of
processor time per gigabyte, as much as decoding fifty photographs. In pages of 2 MiB it is a
tenth of that.
"""

from __future__ import annotations

import math
import mmap
import threading
from typing import Any

import numpy as np
import numpy.typing as npt

# below this the ordinary allocator does as well
LEAST_BYTES = 4 << 20


def zeros(shape: tuple[int, ...], dtype: npt.DTypeLike) -> npt.NDArray[Any]:
    """Return an array of zeros of that shape and dtype, in large pages where it is large."""
    kind = np.dtype(dtype)
    count = math.prod(shape)
    if count * kind.itemsize < LEAST_BYTES or not hasattr(mmap, "MADV_HUGEPAGE"):
        return np.zeros(shape, kind)
    memory = mmap.mmap(-1, count * kind.itemsize, flags=mmap.MAP_PRIVATE | mmap.MAP_ANONYMOUS)
    memory.madvise(mmap.MADV_HUGEPAGE)
    return np.frombuffer(memory, kind, count).reshape(shape)


_kept = threading.local()


def scratch(use: str, shape: tuple[int, ...], dtype: npt.DTypeLike) -> npt.NDArray[Any]:
    """Return this thread's array for one use, with whatever was left in it.

    It is the same memory each time, of which more is taken only where more is asked for.
    """
    count = math.prod(shape)
    flat: npt.NDArray[Any] | None = getattr(_kept, use, None)
    if flat is None or flat.dtype != dtype or len(flat) < count:
        flat = zeros((count,), dtype)
        setattr(_kept, use, flat)
    return flat[:count].reshape(shape)
