"""What the sparks of a shell leave in a picture: light laid along their flight.

The light of each is a power of its own before and after the gap times what the age of the shell
lets all of them have, over the way that they go; a lens spreads it as a Gaussian with a wider glow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from stacker.bridge.streaks.flight import Flight, Float64Array, flown

FloatArray = npt.NDArray[np.float32]

# knots of the power's law of age: in the earlier frame, within the gap, and after the gap
BEFORE, WITHIN, AFTER = 4, 2, (0.0, 0.12, 0.3, 0.6, 1.0)
# px between places at which light is laid, and how far a Gaussian reaches, in its sigmas
STEP_PX, REACH_SIGMAS = 0.8, 4.5
# the glow about a spark, sigma in px
GLOWS = (3.5, 12.0)
# a spark's own power goes over from that before the gap to that after it, from so many shutters
# before its ends to as many after
BLEND = 0.2


@dataclass(frozen=True, eq=False)
class Sparks:
    """The sparks of a shell.

    Parameters
    ----------
    flight, speeds : their law, and (N, 2) how fast each was when the shell burst.
    powers : (N, 2), of each before the gap and after it, about 1.
    law : (K,), natural logarithm of the power that all have at ``knots``.
    sigma : of the narrow spread of light, px.
    glow : (2,), how much light goes into each glow.
    """

    flight: Flight
    speeds: Float64Array
    powers: Float64Array
    law: Float64Array
    sigma: float
    glow: Float64Array

    @property
    def knots(self) -> Float64Array:
        """Ages at which the law of power is known, (K,)."""
        flight = self.flight
        before = np.linspace(flight.opened, flight.age, BEFORE)
        within = flight.age + flight.gap * np.arange(1, WITHIN + 1) / (WITHIN + 1)
        return np.concatenate([before, within, flight.later + np.array(AFTER)])

    def hats(self, ages: Float64Array) -> Float64Array:
        """Return the share that each knot has in the law at ``ages``, (M, K)."""
        knots = self.knots
        # a gap of nothing has knots of one age
        knots = knots + 1e-9 * np.arange(len(knots))
        i = np.clip(np.searchsorted(knots, ages) - 1, 0, len(knots) - 2)
        part = np.clip((ages - knots[i]) / (knots[i + 1] - knots[i]), 0, 1)
        out = np.zeros((len(ages), len(knots)))
        out[np.arange(len(ages)), i] = 1 - part
        out[np.arange(len(ages)), i + 1] = part
        return out

    def gone_over(self, ages: Float64Array) -> Float64Array:
        """Return the share that the power after the gap has at ``ages``, 0 to 1."""
        begins = self.flight.age - BLEND
        return np.clip((ages - begins) / (self.flight.gap + 2 * BLEND), 0, 1)

    def stations(self, first: float, last: float) -> tuple[Float64Array, Float64Array]:
        """Return ages (M,) and spans (M,) between two ages, even in way."""
        fine = np.linspace(first, last, 60)
        step = np.diff(self.flight.places(self.speeds, fine), axis=1)
        way = np.percentile(np.hypot(step[..., 0], step[..., 1]), 90, axis=0)
        far = np.concatenate([[0], np.cumsum(np.maximum(way, 1e-3))])
        count = max(6, int(far[-1] / (STEP_PX * self.sigma)) + 1)
        edges = np.interp(np.linspace(0, far[-1], count + 1), far, fine)
        return (edges[1:] + edges[:-1]) / 2, np.diff(edges)

    def open_in(self, later: bool) -> tuple[float, float]:
        """Return the ages between which the shutter of a frame was open."""
        flight = self.flight
        return (flight.later, flight.later + 1) if later else (flight.opened, flight.age)

    def magnified(self, scale: float) -> Sparks:
        """Return the sparks on a picture so many times as large."""
        # as much light on as many times the pixels
        law = self.law + 2 * np.log(scale)
        return replace(self, flight=self.flight.magnified(scale), speeds=self.speeds * scale,
                       law=law, sigma=self.sigma * scale)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Laid:
    """Where light is laid: for N sparks at M stations the pixels (N, M, r, r) of a window, the
    offsets to them in x and y, (N, M, r), and the light there of a unit of power."""

    pixel: npt.NDArray[np.intp]
    dx: FloatArray
    dy: FloatArray
    light: FloatArray


def lay(places: Float64Array, low: npt.NDArray[np.intp], shape: tuple[int, int],
        sigma: float) -> Laid:  # fmt: skip
    """Return what is laid at places (N, M, 2) on the window that begins at ``low`` (x, y)."""
    reach = int(np.ceil(REACH_SIGMAS * sigma))
    local = places - low
    cell = np.rint(local).astype(int)
    around = np.arange(-reach, reach + 1)
    spread, at = [], []
    for axis, size in ((0, shape[1]), (1, shape[0])):
        pixel = cell[..., axis, None] + around
        off = (pixel - local[..., axis, None]).astype(np.float32)
        light = np.exp(-(off**2) / np.float32(2 * sigma**2))
        light /= np.float32(np.sqrt(2 * np.pi) * sigma)
        spread.append((off, light * ((pixel >= 0) & (pixel < size))))
        at.append(np.clip(pixel, 0, size - 1))
    (dx, in_x), (dy, in_y) = spread
    pixel = at[1][..., :, None] * shape[1] + at[0][..., None, :]
    return Laid(pixel, dx, dy, in_y[..., :, None] * in_x[..., None, :])


def strength(sparks: Sparks, ages: Float64Array) -> Float64Array:
    """Return the power of each spark's own at ages, (N, M)."""
    over = sparks.gone_over(ages)
    return sparks.powers[:, :1] * (1 - over) + sparks.powers[:, 1:] * over


def shown(
    sparks: Sparks, first: float, last: float, low: npt.NDArray[np.intp], shape: tuple[int, int],
    power: Callable[[Float64Array], Float64Array] | None = None,
) -> FloatArray:  # fmt: skip
    """Return the light of sparks between two ages in a window, (h, w), without glow."""
    first = max(first, 0.0)
    out = np.zeros(shape[0] * shape[1])
    if last - first > 1e-6:
        ages, spans = sparks.stations(first, last)
        shared = np.exp(sparks.hats(ages) @ sparks.law) if power is None else power(ages)
        weight = (strength(sparks, ages) * shared * spans).astype(np.float32)
        places = sparks.flight.places(sparks.speeds, ages)
        # a few sparks at a time, so that little memory is taken
        for part in range(0, len(places), 16):
            laid = lay(places[part : part + 16], low, shape, sparks.sigma)
            light = laid.light * weight[part : part + 16, :, None, None]
            out += np.bincount(laid.pixel.ravel(), light.ravel(), minlength=out.size)
    return np.asarray(out.reshape(shape), np.float32)


def with_glow(sparks: Sparks, light: FloatArray, scale: float = 1.0) -> FloatArray:
    """Return the light of sparks, (h, w), with its glow."""
    total = light.copy()
    for share, sigma in zip(sparks.glow.tolist(), GLOWS, strict=True):
        if share > 0:
            total += share * cv2.GaussianBlur(light, (0, 0), sigma * scale)
    return total


def window_of(
    sparks: Sparks, size: tuple[int, int], margin: int
) -> tuple[npt.NDArray[np.intp], tuple[int, int], tuple[slice, slice]]:
    """Return the corner (x, y), the shape and the slices of the window that all sparks lie in."""
    ages = np.linspace(sparks.flight.opened, sparks.flight.later + 1, 30)
    places = sparks.flight.places(sparks.speeds, ages).reshape(-1, 2)
    low = np.clip(np.floor(places.min(axis=0)).astype(int) - margin, 0, np.array(size) - 1)
    high = np.clip(np.ceil(places.max(axis=0)).astype(int) + margin + 1, low + 1, size)
    shape = (int(high[1] - low[1]), int(high[0] - low[0]))
    return low, shape, (slice(low[1], high[1]), slice(low[0], high[0]))


def apart_at_gap(sparks: Sparks) -> float:
    """Return the px between two sparks when the later shutter opens per unit of speed."""
    return float(flown(sparks.flight.later, sparks.flight.drag))
