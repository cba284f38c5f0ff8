"""Resampling a frame to where the reference looked, in linear light, tile by tile.

A cubic convolution is interpolated from slightly sharpened pixels: together they are flat to three
quarters of the Nyquist frequency on the average over sub-pixel places, so that a mean of many
frames is not softer than one. Whole-pixel shifts copy pixels, and the identity is no resampling.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.buffers import scratch, zeros
from stacker.light.encoding import LightArray
from stacker.register.geometry import Motion, Points, invert, translation, whole_shift
from stacker.register.local import LocalCorrection

# Rows are worked on in bands of this height from the first row on, and these in tiles of so many
# columns: the tile, its surroundings and what is made of them stay in the second-level cache, and
# of a frame that is turned a tile needs few rows more than it has.
BAND_ROWS = 64
TILE_COLUMNS = 1024
# Compensates what a cubic with a = -0.75 (OpenCV's) takes away, averaged over sub-pixel places: a
# response of 0.997, 0.998, 1.000, 0.993, 0.93 at 0.1, 0.2, 0.25, 0.3, 0.375 cycles per pixel.
SHARPENING = np.array([0.0257, -0.0589, 1.0664, -0.0589, 0.0257], np.float32)
# source rows and columns that a result may draw on beyond its own place: cubic 2, sharpening 2
REACH = 4
# Light in [0, 1] comes out below this: the absolute weights of the sharpening add up to 1.24 along
# each side, those of the cubic to 1.38 at the most.
MOST_OVERSHOOT = 3.0
# Nothing gets darker than this share of what linear interpolation says: dark rings about lamps.
FLOOR_OF_LINEAR = 0.5
# A linear interpolation costs nearly as much as half a cubic and few pixels need it: those below
# this share of the mean of what lies about them in the result. It finds all that are too dark in
# star fields and in texture, with noise and without.
SUSPICIOUS = 0.6
# from this share of a tile on it is cheaper to interpolate the whole of it than pixels one by one
MANY_SUSPICIOUS = 0.08
# places are handed to OpenCV in rows of this length, since it takes no row of any length
LIST_COLUMNS = 256
# a picture is blurred before shrinking only where it shrinks by more than a breath of the lens
SHRINKS_FROM = 1.05

# the light of some rows and columns of a frame
LightOf = Callable[[slice, slice], LightArray]


@dataclass(frozen=True, eq=False)
class Warp:
    """Resamples a frame of ``size`` (width, height) by ``to_reference``, (3, 3), and ``local``.

    A frame is asked for by its parts, so that whoever holds codes decodes only what a tile needs.
    """

    to_reference: Motion
    size: tuple[int, int]
    local: LocalCorrection | None = None

    @cached_property
    def to_frame(self) -> Motion:
        """Where a pixel of the reference lies in the frame, (3, 3)."""
        return invert(self.to_reference)

    @cached_property
    def whole_shift(self) -> tuple[int, int] | None:
        """(dx, dy) by which pixels are copied without resampling; None where they cannot be."""
        return None if self.local else whole_shift(self.to_reference)

    @cached_property
    def spans(self) -> npt.NDArray[np.int64]:
        """First valid column and the one after the last for each row, (H, 2).

        Valid is where the place in the frame lies between the centres of its outer pixels, but
        for a local correction, which may reach over the edge by its few pixels.
        """
        width, height = self.size
        m, rows = self.to_frame, np.arange(height)
        low, high = np.zeros(height), np.full(height, width - 1.0)
        # in homogeneous places (X, Y, Z), Z > 0: X >= 0, X <= (W - 1) Z, and likewise Y
        edges = (m[0], (width - 1) * m[2] - m[0], m[1], (height - 1) * m[2] - m[1])
        for slope, tilt, offset in edges:
            rest = tilt * rows + offset
            # rounding must not cost a row or column that a whole shift covers exactly
            rest += 1e-9
            if slope > 0:
                low = np.maximum(low, np.ceil(-rest / slope))
            elif slope < 0:
                high = np.minimum(high, np.floor(-rest / slope))
            else:
                high = np.where(rest < 0, -1, high)
        ends = np.clip(high + 1, 0, width)
        return np.stack([np.minimum(low, ends), ends], axis=1).astype(np.int64)

    @property
    def covers_all(self) -> bool:
        """Whether every pixel of the reference lies within the frame."""
        return bool((self.spans == (0, self.size[0])).all())

    @property
    def is_masked(self) -> bool:
        """Whether the frame is silent about some parts that it covers."""
        return False

    def valid(self, top: int, bottom: int) -> npt.NDArray[np.bool_]:
        """Return where the frame has something to say, bool (bottom - top, W)."""
        columns = np.arange(self.size[0])
        spans = self.spans[top:bottom]
        return (columns >= spans[:, :1]) & (columns < spans[:, 1:])

    def resample(
        self, light_of: LightOf, top: int, bottom: int, *, out: LightArray | None = None
    ) -> LightArray:
        """Return rows ``top`` to ``bottom`` of the frame as the reference sees it.

        Parameters
        ----------
        light_of : called as ``light_of(rows, columns)`` with two slices, returns that part of the
            frame, float32 (h, w, 3), linear; it is not changed.
        top, bottom : within one band of ``BAND_ROWS`` from row 0 on, or the last rows of one:
            what is done at the edges of tiles must not depend on how rows are cut.
        out : float32 (bottom - top, W, 3) to put the result into.

        Returns
        -------
        float32 (bottom - top, W, 3), never below 0 unless copied; 0 beyond the frame.
        """
        width = self.size[0]
        if out is None:
            out = np.empty((bottom - top, width, 3), np.float32)
        if self.whole_shift is not None:
            self._copy(light_of, top, bottom, out)
            return out
        spans = self.spans[top:bottom]
        for left in range(0, width, TILE_COLUMNS):
            right = min(left + TILE_COLUMNS, width)
            if (spans[:, 0] < right).any() and (spans[:, 1] > left).any():
                self._resample(light_of, _Tile(top, bottom, left, right), out[:, left:right])
        self._blank(top, bottom, out)
        return out

    def _resample(self, light_of: LightOf, tile: _Tile, out: LightArray) -> None:
        """Write one tile of the frame as the reference sees it to ``out``, float32 (h, w, 3)."""
        rows, columns = self._source_of(tile)
        back = translation(-columns.start, -rows.start) @ self.to_frame
        back = back @ translation(tile.left, tile.top)
        light = light_of(rows, columns)
        ready = _ready(light, self._blur)
        border, size = cv2.BORDER_REPLICATE, (tile.right - tile.left, tile.bottom - tile.top)
        made = scratch("resampled tile", (size[1], size[0], 3), np.float32)
        if self.local is None:
            places = None
            cubic = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
            cv2.warpPerspective(ready, back, size, dst=made, flags=cubic, borderMode=border)
        else:
            places = self._places(back, tile)
            cv2.remap(ready, *places, cv2.INTER_CUBIC, dst=made, borderMode=border)
        _guard(light, back, places, made)
        out[:] = made

    def _source_of(self, tile: _Tile) -> tuple[slice, slice]:
        """Return the rows and columns of the frame that a tile draws on; at least one each."""
        corners = [
            (x, y, 1.0)
            for x in (tile.left, tile.right - 1)
            for y in (tile.top, tile.bottom - 1)
        ]  # fmt: skip
        places = np.array(corners) @ self.to_frame.T
        reach = REACH + np.ceil(4 * self._blur)
        reach += 2 * np.ceil(self.local.reach_px) if self.local else 0
        parts = []
        for axis, length in ((1, self.size[1]), (0, self.size[0])):
            along = places[:, axis] / places[:, 2]
            # one is always there, so that a tile beyond the frame has something to be black with
            first = int(np.clip(np.floor(along.min()) - reach, 0, length - 1))
            last = int(np.clip(np.ceil(along.max()) + reach + 1, first + 1, length))
            parts.append(slice(first, last))
        return parts[0], parts[1]

    def _places(self, back: Motion, tile: _Tile) -> tuple[LightArray, LightArray]:
        """Return where the pixels of a tile lie in the frame's part, float32 (h, w) each."""
        x = np.arange(tile.left, tile.right, dtype=np.float64)
        y = np.arange(tile.top, tile.bottom, dtype=np.float64)
        dx, dy = cast(LocalCorrection, self.local).at(x, y)
        # where the shift ends, it is the same but for its slope times itself: nothing
        return _at(back, x - tile.left - dx, y[:, None] - tile.top - dy)

    @cached_property
    def _blur(self) -> float:
        """The sigma of the blur that shrinking needs, in pixels of the frame; 0 for none."""
        x, y = (self.size[0] - 1) / 2, (self.size[1] - 1) / 2
        m = self.to_frame
        place = m @ (x, y, 1.0)
        jacobian = (m[:2, :2] - np.outer(place[:2] / place[2], m[2, :2])) / place[2]
        stretch = float(np.linalg.svd(jacobian, compute_uv=False)[0])
        # a pixel grows to ``stretch`` pixels; 0.5 is the sigma that a pixel itself stands for
        return 0.5 * float(np.sqrt(stretch**2 - 1)) if stretch > SHRINKS_FROM else 0.0

    def _copy(self, light_of: LightOf, top: int, bottom: int, out: LightArray) -> None:
        dx, dy = cast(tuple[int, int], self.whole_shift)
        width, height = self.size
        first, last = max(top - dy, 0), min(bottom - dy, height)
        left, right = max(-dx, 0), min(width - dx, width)
        out[:] = 0
        if first < last and left < right:
            source = light_of(slice(first, last), slice(left, right))
            out[first + dy - top : last + dy - top, left + dx : right + dx] = source

    def _blank(self, top: int, bottom: int, out: LightArray) -> None:
        for row, (low, high) in zip(out, self.spans[top:bottom], strict=True):
            row[:low] = 0
            row[high:] = 0


def warp_light(
    light: LightArray, to_reference: Motion, local: LocalCorrection | None = None
) -> LightArray:
    """Return a whole frame as the reference sees it, float32 (H, W, 3); see ``Warp``.

    The identity returns ``light`` itself.
    """
    height, width = light.shape[:2]
    warp = Warp(to_reference, (width, height), local)
    if warp.whole_shift == (0, 0):
        return light
    out: LightArray = zeros(light.shape, np.float32)
    for top in range(0, height, BAND_ROWS):
        bottom = min(top + BAND_ROWS, height)
        warp.resample(lambda rows, columns: light[rows, columns], top, bottom, out=out[top:bottom])
    return out


@dataclass(frozen=True)
class _Tile:
    """Rows ``top`` to ``bottom`` and columns ``left`` to ``right`` of the reference."""

    top: int
    bottom: int
    left: int
    right: int


def _ready(light: LightArray, blur: float) -> LightArray:
    """Return light sharpened for a cubic to be laid through it, or blurred for shrinking."""
    border = cv2.BORDER_REPLICATE
    if blur:
        return np.asarray(cv2.GaussianBlur(light, (0, 0), blur, borderType=border), np.float32)
    ready: LightArray = scratch("sharpened tile", light.shape, np.float32)
    cv2.sepFilter2D(light, -1, SHARPENING, SHARPENING, dst=ready, borderType=border)
    return ready


def _at(back: Motion, x: Points, y: Points) -> tuple[LightArray, LightArray]:
    """Return where ``back`` takes points, float32, x and y of the shape that theirs make."""
    depth = back[2, 0] * x + back[2, 1] * y + back[2, 2]
    places_x = (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / depth
    places_y = (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / depth
    return places_x.astype(np.float32), places_y.astype(np.float32)


def _guard(
    light: LightArray,
    back: Motion,
    places: tuple[LightArray, LightArray] | None,
    out: LightArray,
) -> None:
    """Lift what a cubic darkens about lamps and stars to a share of the linear interpolation.

    Parameters
    ----------
    light : what ``out`` was interpolated from, before it was sharpened.
    back, places : where the pixels of ``out`` lie in it: by the motion, unless places are given.
    """
    cv2.threshold(out, 0, 0, cv2.THRESH_TOZERO, dst=out)
    about = scratch("about", out.shape, np.float32)
    kernel = np.full(3, np.sqrt(SUSPICIOUS) / 3, np.float32)
    cv2.sepFilter2D(out, -1, kernel, kernel, dst=about, borderType=cv2.BORDER_REPLICATE)
    dark = np.flatnonzero(np.less(out, about, out=scratch("dark", out.shape, np.bool_)))
    if not len(dark):
        return
    height, width = out.shape[:2]
    if len(dark) > MANY_SUSPICIOUS * out.size:
        dark = np.arange(height * width)
    else:
        # of a pixel several channels may be dark
        dark //= 3
        dark = dark[np.append(True, dark[1:] != dark[:-1])]
    y, x = np.divmod(dark, width)
    here = _at(back, x, y) if places is None else (places[0][y, x], places[1][y, x])
    linear = _interpolated(light, here)
    linear *= np.float32(FLOOR_OF_LINEAR)
    flat = out.reshape(-1, 3)
    flat[dark] = np.maximum(flat[dark], linear)


def _interpolated(light: LightArray, places: tuple[LightArray, LightArray]) -> LightArray:
    """Return light at a list of N places by linear interpolation, float32 (N, 3)."""
    count = len(places[0])
    shape = (-(-count // LIST_COLUMNS), LIST_COLUMNS)
    x, y = (np.resize(each, shape) for each in places)
    found = cv2.remap(light, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(found, np.float32).reshape(-1, 3)[:count]
