"""Resampling a frame to where the reference looked, in linear light, band by band.

A cubic convolution is interpolated from slightly sharpened pixels: together they are flat to three
quarters of the Nyquist frequency on the average over sub-pixel places, so that a mean of many
frames is not softer than one. Whole-pixel shifts copy pixels, and the identity is no resampling.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.buffers import zeros
from stacker.light.encoding import LightArray
from stacker.register.geometry import Motion, apply, invert, translation, whole_shift
from stacker.register.local import LocalCorrection

# Rows are worked on in bands of this height from the first row on: small enough for the cache.
BAND_ROWS = 64
# Compensates what a cubic with a = -0.75 (OpenCV's) takes away, averaged over sub-pixel places: a
# response of 0.997, 0.998, 1.000, 0.993, 0.93 at 0.1, 0.2, 0.25, 0.3, 0.375 cycles per pixel.
SHARPENING = np.array([0.0257, -0.0589, 1.0664, -0.0589, 0.0257], np.float32)
# source rows and columns that a result may draw on beyond its own place: cubic 2, sharpening 2
REACH = 4
# Nothing gets darker than this share of what linear interpolation says: dark rings about lamps.
FLOOR_OF_LINEAR = 0.5
# The guard costs a linear interpolation; rings that deep, and bright enough to be seen, need a
# contrast of at least this ratio and this much light within a block of so many columns.
GUARDED_CONTRAST = 5.0
GUARDED_LIGHT = 0.05
GUARD_COLUMNS = 128
# a picture is blurred before shrinking only where it shrinks by more than a breath of the lens
SHRINKS_FROM = 1.05


@dataclass(frozen=True, eq=False)
class Warp:
    """Resamples a frame of ``size`` (width, height) by ``to_reference``, (3, 3), and ``local``.

    A frame is handed in by rows, so that whoever holds codes decodes only the rows of a band:
    ``source_rows`` says which rows a band needs, ``resample`` makes the band.
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

    def valid(self, top: int, bottom: int) -> npt.NDArray[np.bool_]:
        """Return where the frame has something to say, bool (bottom - top, W)."""
        columns = np.arange(self.size[0])
        spans = self.spans[top:bottom]
        return (columns >= spans[:, :1]) & (columns < spans[:, 1:])

    def source_rows(self, top: int, bottom: int) -> tuple[int, int]:
        """Return the first row of the frame that a band needs, and the one after the last."""
        corners = [(x, y, 1.0) for x in (0, self.size[0] - 1) for y in (top, bottom - 1)]
        places = np.array(corners) @ self.to_frame.T
        y = places[:, 1] / places[:, 2]
        height = self.size[1]
        # one row is always there, so that a band beyond the frame has something to be black with
        reach = REACH + (2 * np.ceil(self.local.reach_px) if self.local else 0)
        first = int(np.clip(np.floor(y.min()) - reach, 0, height - 1))
        return first, int(np.clip(np.ceil(y.max()) + reach + 1, first + 1, height))

    def resample(
        self, rows: LightArray, top: int, bottom: int, *, out: LightArray | None = None
    ) -> LightArray:
        """Return rows ``top`` to ``bottom`` of the frame as the reference sees it.

        Parameters
        ----------
        rows : float32 (n, W, 3), linear: the frame's ``source_rows(top, bottom)``; not changed.
        top, bottom : within one band of ``BAND_ROWS`` from row 0 on, or the last rows of one: the
            guard against rings looks at blocks, which must not depend on how rows are cut.
        out : float32 (bottom - top, W, 3) to put the result into.

        Returns
        -------
        float32 (bottom - top, W, 3), never below 0 unless copied; 0 beyond the frame.
        """
        if out is None:
            out = np.empty((bottom - top, self.size[0], 3), np.float32)
        first, _ = self.source_rows(top, bottom)
        if self.whole_shift is not None:
            self._copy(rows, first, top, out)
            return out
        back = translation(0, -first) @ self.to_frame @ translation(0, top)
        if self.local:
            _interpolate_bent(rows, self._places(back, top, bottom), out, self._blur)
        else:
            _interpolate(rows, back, out, self._blur)
        self._blank(top, bottom, out)
        return out

    def _places(self, back: Motion, top: int, bottom: int) -> tuple[LightArray, LightArray]:
        """Return where the pixels of a band lie in the frame's rows, float32 (h, W) each."""
        x, y = np.arange(self.size[0], dtype=np.float64), np.arange(top, bottom, dtype=np.float64)
        dx, dy = cast(LocalCorrection, self.local).at(x, y)
        # where the shift ends, it is the same but for its slope times itself: nothing
        across, down = x - dx, y[:, None] - top - dy
        depth = back[2, 0] * across + back[2, 1] * down + back[2, 2]
        places_x = (back[0, 0] * across + back[0, 1] * down + back[0, 2]) / depth
        places_y = (back[1, 0] * across + back[1, 1] * down + back[1, 2]) / depth
        return places_x.astype(np.float32), places_y.astype(np.float32)

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

    def _copy(self, rows: LightArray, first: int, top: int, out: LightArray) -> None:
        dx, dy = cast(tuple[int, int], self.whole_shift)
        width = self.size[0]
        for number in range(len(out)):
            source = top + number - dy - first
            low, high = self.spans[top + number]
            if high > low:
                out[number, low:high] = rows[source, low - dx : high - dx]
            out[number, :low] = 0
            out[number, high:width] = 0

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
        first, last = warp.source_rows(top, bottom)
        warp.resample(light[first:last], top, bottom, out=out[top:bottom])
    return out


def _interpolate(rows: LightArray, back: Motion, out: LightArray, blur: float) -> None:
    """Put the frame's rows into ``out``, whose pixels lie in them where ``back`` says."""
    size = (out.shape[1], out.shape[0])
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    border = cv2.BORDER_REPLICATE
    cv2.warpPerspective(_ready(rows, blur), back, size, dst=out, flags=flags, borderMode=border)
    _guard(rows, back, out)


def _interpolate_bent(
    rows: LightArray, places: tuple[LightArray, LightArray], out: LightArray, blur: float
) -> None:
    """Put the frame's rows into ``out``, whose pixels lie in them at ``places``."""
    border = cv2.BORDER_REPLICATE
    cv2.remap(_ready(rows, blur), *places, cv2.INTER_CUBIC, dst=out, borderMode=border)
    linear = np.empty(out.shape, np.float32)
    cv2.remap(rows, *places, cv2.INTER_LINEAR, dst=linear, borderMode=border)
    linear *= np.float32(FLOOR_OF_LINEAR)
    np.maximum(linear, np.float32(0), out=linear)
    np.maximum(out, linear, out=out)


def _ready(rows: LightArray, blur: float) -> LightArray:
    """Return rows sharpened for a cubic to be laid through them, or blurred for shrinking."""
    border = cv2.BORDER_REPLICATE
    if blur:
        return np.asarray(cv2.GaussianBlur(rows, (0, 0), blur, borderType=border), np.float32)
    ready = cv2.sepFilter2D(rows, -1, SHARPENING, SHARPENING, borderType=border)
    return np.asarray(ready, np.float32)


def _guard(rows: LightArray, back: Motion, out: LightArray) -> None:
    """Lift what a cubic darkens about lamps and stars to a share of the linear interpolation."""
    np.maximum(out, np.float32(0), out=out)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    for left, right in _contrasty(rows, back, out.shape[:2]):
        block = out[:, left:right]
        linear = np.empty(block.shape, np.float32)
        cv2.warpPerspective(
            rows, back @ translation(left, 0), (right - left, len(out)), dst=linear,
            flags=flags, borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        linear *= np.float32(FLOOR_OF_LINEAR)
        np.maximum(block, linear, out=block)


def _contrasty(rows: LightArray, back: Motion, shape: tuple[int, int]) -> list[tuple[int, int]]:
    """Return the columns, from and to, of a band whose surroundings hold strong contrasts."""
    height, width = shape
    edges = np.append(np.arange(0, width, GUARD_COLUMNS), width)
    corners = np.array([(x, y) for y in (0, height - 1) for x in edges], dtype=np.float64)
    x = apply(back, corners)[:, 0].reshape(2, -1)
    spread = np.stack([x[:, :-1], x[:, 1:]]).reshape(4, -1)
    low = np.clip(np.floor(spread.min(axis=0)) - 2, 0, rows.shape[1] - 1).astype(int)
    high = np.clip(np.ceil(spread.max(axis=0)) + 3, low + 1, rows.shape[1]).astype(int)
    runs: list[tuple[int, int]] = []
    for number, (first, last) in enumerate(zip(low, high, strict=True)):
        darkest, brightest, _, _ = cv2.minMaxLoc(rows[:, first:last].reshape(len(rows), -1))
        if brightest <= GUARDED_CONTRAST * max(darkest, 0.0) + GUARDED_LIGHT:
            continue
        left, right = int(edges[number]), int(edges[number + 1])
        if runs and runs[-1][1] == left:
            left = runs.pop()[0]
        runs.append((left, right))
    return runs
