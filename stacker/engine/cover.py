"""What of the picture all frames saw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from stacker.errors import BurstError

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Region:
    """A rectangle of the reference: its rows and its columns."""

    rows: range
    columns: range

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return len(self.columns), len(self.rows)


def common_region(spans: Sequence[IntArray], width: int) -> Region:
    """Return the largest rectangle that every frame covers.

    Parameters
    ----------
    spans : for each frame, int64 (H, 2): the first column that it covers in each row, and the one
        after the last.

    Raises
    ------
    BurstError
        Nothing is covered by all.
    """
    low = np.max([span[:, 0] for span in spans], axis=0)
    high = np.min([span[:, 1] for span in spans], axis=0)
    best, region = 0, None
    for top in range(len(low)):
        left = np.maximum.accumulate(low[top:])
        right = np.minimum.accumulate(high[top:])
        areas = (right - left) * np.arange(1, len(left) + 1)
        last = int(areas.argmax())
        if areas[last] > best:
            best = int(areas[last])
            region = Region(range(top, top + last + 1), range(int(left[last]), int(right[last])))
        # no rectangle that starts further down can be larger
        if (len(low) - top - 1) * width <= best:
            break
    if region is None:
        raise BurstError(
            "the burst",
            "no part of the picture is in all frames",
            remedy="use --crop full, or fewer frames",
            code="burst-not-held",
        )
    return region
