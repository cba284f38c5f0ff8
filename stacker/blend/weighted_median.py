"""The median of values that do not all count alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from stacker.blend.held_frames import HeldFrames
from stacker.light.encoding import LightArray, decode

# weights become whole grains, so that "exactly half of the weight" can be told
WEIGHT_GRAINS = 2.0**20


class WeightedMedianAccumulator(HeldFrames):
    """The value at which half of the weight lies on either side.

    Where the weight divides exactly in half, the mean in light of the two values there; with
    even weights that is the median.
    """

    def _blend(self, values: npt.NDArray[Any], weights: npt.NDArray[np.float64]) -> LightArray:
        order = np.argsort(values, axis=0, kind="stable")
        grains = np.rint(np.broadcast_to(weights, values.shape) * WEIGHT_GRAINS)
        reached = np.cumsum(np.take_along_axis(grains, order, axis=0), axis=0)
        total = reached[-1]
        lower = np.argmax(2 * reached >= total, axis=0)
        upper = np.minimum(np.argmax(2 * reached > total, axis=0), len(values) - 1)
        ranked = np.take_along_axis(values, order, axis=0)
        light = decode(
            np.take_along_axis(ranked, lower[np.newaxis], axis=0)[0], self.intake.encoding
        )
        light += decode(
            np.take_along_axis(ranked, upper[np.newaxis], axis=0)[0], self.intake.encoding
        )
        light *= np.float32(0.5)
        light[total == 0] = 0.0
        return light
