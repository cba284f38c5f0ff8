"""Copies of the frames held to one view, for everything that compares them pixel by pixel."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.encoding import LightArray
from stacker.register import BurstMotion
from stacker.register.geometry import is_identity, to_reduced

Source = Callable[[int], LightArray]
# light of a cell from which on it is burnt out
BURNT_OUT = 0.995
RootArray = npt.NDArray[np.float32]


def held_source(source: Source, motion: BurstMotion | None, factor: int) -> Source:
    """Return a source of frames brought to where the reference looked, 0 where they do not reach.

    Parameters
    ----------
    source : returns the light of frame ``index``, float32 (h, w, 3), reduced by ``factor``.
    motion : where the frames looked; frames stay as they lie where None, or where they could not
        be held.
    """
    if motion is None or motion.is_still:
        return source

    def held(index: int) -> LightArray:
        light = source(index)
        frame = motion.frames[index]
        if not frame.used or is_identity(frame.to_reference):
            return light
        moved = cv2.warpPerspective(
            light,
            to_reduced(frame.to_reference, factor),
            (light.shape[1], light.shape[0]),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(0.0, 0.0, 0.0, 0.0),
        )
        return np.asarray(moved, np.float32)

    return held


def roots_of(
    source: Source, numbers: Sequence[int], stops: npt.NDArray[np.float64], long_side: int
) -> tuple[npt.NDArray[np.float32], int]:
    """Return small roots of the light, float32 (M, h, w), and by how much they were reduced.

    Parameters
    ----------
    numbers : which frames.
    stops : by how much each of all frames is brighter than usual; taken out.
    long_side : the longer side is reduced by whole steps to about this.
    """
    roots: list[RootArray] = []
    factor = 1
    for number in numbers:
        # the copies hold one channel three times
        light = source(number)[:, :, 1]
        factor = max(1, round(max(light.shape) / long_side))
        height, width = light.shape[0] // factor, light.shape[1] // factor
        even = light[: height * factor, : width * factor]
        small = np.asarray(cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA))
        outside = small <= 0
        if outside.any():
            # cells at the edge of a frame that was moved are darkened by what is not there
            outside = cv2.dilate(outside.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
            outside &= _reaches_border(outside)
        root = np.sqrt(np.maximum(small, 0) * np.float32(2.0 ** -stops[number]))
        # what is burnt out is as bright as it can be in every frame, however much light fell
        root[small >= BURNT_OUT] = 1.0
        root[outside] = np.nan
        roots.append(root.astype(np.float32))
    return np.stack(roots), factor


def _reaches_border(outside: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Return the parts of a mask that touch the border: black in the middle is in the picture."""
    _, labels = cv2.connectedComponents(outside.astype(np.uint8))
    edge = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    return np.asarray(np.isin(labels, edge[edge > 0]))
