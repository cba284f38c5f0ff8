"""Transfer functions: how a code value scaled to [0, 1] becomes linear light, and back.

Source: ICC.1:2022, clause 10.18 (parametricCurveType) and 10.6 (curveType).

=====================  ==========  =======  ========================================
curve                  code value  light    beyond its domain
=====================  ==========  =======  ========================================
``ParametricCurve``    [0, 1]      [0, 1]   goes on by its formula
``SampledCurve``       [0, 1]      [0, 1]   clipped to its ends
=====================  ==========  =======  ========================================
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

Float64Array = npt.NDArray[np.float64]


class ForwardCurve(Protocol):
    """A transfer function of which the way to light is enough."""

    def to_light(self, code: npt.ArrayLike) -> Float64Array:
        """Return linear light, float64 of the same shape, from scaled code values."""


class Curve(ForwardCurve, Protocol):
    """A monotonic transfer function; hashable, so that tables made from it can be kept."""

    def __hash__(self) -> int: ...

    def from_light(self, light: npt.ArrayLike) -> Float64Array:
        """Return scaled code values, float64 of the same shape, from linear light."""


@dataclass(frozen=True)
class ParametricCurve:
    """A power law with a straight foot: ``(a x + b)^g`` from ``d`` on, ``c x`` below."""

    g: float
    a: float = 1.0
    b: float = 0.0
    c: float = 0.0
    d: float = 0.0
    e: float = 0.0
    f: float = 0.0

    def to_light(self, code: npt.ArrayLike) -> Float64Array:
        """Return linear light, float64 of the same shape, from scaled code values."""
        x = np.asarray(code, dtype=np.float64)
        power = np.maximum(self.a * np.maximum(x, self.d) + self.b, 0.0) ** self.g + self.e
        return np.where(x >= self.d, power, self.c * x + self.f)

    def from_light(self, light: npt.ArrayLike) -> Float64Array:
        """Return scaled code values, float64 of the same shape, from linear light."""
        y = np.asarray(light, dtype=np.float64)
        light_break = float(self.to_light(self.d))
        upper = np.maximum(np.maximum(y, light_break) - self.e, 0.0)
        power = (upper ** (1.0 / self.g) - self.b) / self.a
        foot = (y - self.f) / self.c if self.c > 0 else np.full_like(y, self.d)
        return np.where(y >= light_break, power, foot)


@dataclass(frozen=True)
class SampledCurve:
    """A curve given by equally spaced samples over [0, 1], straight lines between them.

    ``samples`` must not fall; where a stretch is flat its inverse is the stretch's start.
    """

    samples: tuple[float, ...]

    def to_light(self, code: npt.ArrayLike) -> Float64Array:
        """Return linear light, float64 of the same shape, from scaled code values."""
        grid = np.linspace(0.0, 1.0, len(self.samples))
        return np.interp(np.asarray(code, dtype=np.float64), grid, self.samples)

    def from_light(self, light: npt.ArrayLike) -> Float64Array:
        """Return scaled code values, float64 of the same shape, from linear light."""
        values, first = np.unique(np.asarray(self.samples), return_index=True)
        grid = np.linspace(0.0, 1.0, len(self.samples))[first]
        return np.interp(np.asarray(light, dtype=np.float64), values, grid)


LINEAR = ParametricCurve(1.0)
