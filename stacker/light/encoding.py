"""From stored codes to linear light by table, and back with exact rounding.

``Encoding`` says what the numbers of a picture mean: how they are stored (8 or 16 bit codes,
or float32 that is light already), by which curve, and in which colour space.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, Protocol, TypeVar, cast

import cv2
import numpy as np
import numpy.typing as npt

from stacker.light.curves import Curve, Float64Array
from stacker.light.space import ColourSpace

Stored = Literal["uint8", "uint16", "float32"]
# which of the stored kinds an array holds is known only when a file was opened
CodeArray = npt.NDArray[Any]
PixelArray = npt.NDArray[Any]
Scalar = TypeVar("Scalar", bound=np.generic)
Uint16Array = npt.NDArray[np.uint16]
LightArray = npt.NDArray[np.float32]

CODE_MAX = 65535
# samples worked on at a time: the block and its temporaries stay in the second-level cache
BLOCK_SAMPLES = 1 << 16


class Device(Protocol):
    """How numbers become light where one curve for all channels does not tell.

    Hashable, so that frames with the same device are seen to agree.
    """

    @property
    def name(self) -> str:
        """What its profile calls it."""

    def __hash__(self) -> int: ...

    def to_light(self, pixels: PixelArray, out: LightArray) -> None:
        """Write linear light into ``out``, float32 (H, W, 3), from pixels as they are stored."""


@dataclass(frozen=True)
class Encoding:
    """What the numbers of a picture mean.

    Parameters
    ----------
    stored : how they are kept; ``float32`` numbers are linear light already.
    space : the colour space of their light, in which a result made from them leaves.
    codes_curve : the transfer function of the codes where it is not the space's: raw frames come
        as codes of linear light, and leave in the space's curve so that shadows do not band.
    device : what makes light of the numbers, in the space's primaries, in the place of any curve.
    """

    stored: Stored
    space: ColourSpace
    codes_curve: Curve | None = None
    device: Device | None = None

    @property
    def is_light(self) -> bool:
        """Whether the numbers are linear light, not codes."""
        return self.stored == "float32" and self.device is None

    @property
    def curve(self) -> Curve:
        """The transfer function from codes to light."""
        return self.codes_curve or self.space.curve

    @property
    def name(self) -> str:
        """What a person would call the space that the numbers are in."""
        return self.device.name if self.device is not None else self.space.name

    @property
    def top(self) -> int:
        """The greatest code."""
        return 255 if self.stored == "uint8" else CODE_MAX

    def table(self) -> Float64Array:
        """Return the light of each code, float64 (256,) or (65536,); not to be changed."""
        return light_table(self.curve, self.top)


@lru_cache(maxsize=8)
def light_table(curve: Curve, top: int) -> Float64Array:
    """Return the light of the codes 0 to ``top``, float64 (top + 1,), read-only."""
    table = curve.to_light(np.arange(top + 1) / top)
    table.flags.writeable = False
    return table


def decode(pixels: PixelArray, encoding: Encoding) -> LightArray:
    """Return linear light, float32 of the same shape, from pixels in the given encoding."""
    out = np.empty(pixels.shape, np.float32)
    decode_into(pixels, encoding, out)
    return out


def decode_into(pixels: PixelArray, encoding: Encoding, out: LightArray) -> None:
    """Write the linear light of pixels in the given encoding into ``out``, float32."""
    if encoding.device is not None:
        encoding.device.to_light(pixels, out)
    elif encoding.is_light:
        np.copyto(out, pixels)
    else:
        look_up(pixels, encoding.table().astype(np.float32), out=out)


def look_up(
    codes: CodeArray, table: npt.NDArray[Scalar], *, out: npt.NDArray[Scalar] | None = None
) -> npt.NDArray[Scalar]:
    """Return ``table[codes]``, of the table's dtype and the codes' shape, in ``out`` if given.

    The codes are seen as one row so that any shape is taken; OpenCV's table look-up is some
    five times faster than indexing.
    """
    if codes.size == 0:
        return np.empty(codes.shape, table.dtype)
    flat = np.ascontiguousarray(codes).reshape(1, -1)
    target = None if out is None else cast(Any, out.reshape(1, -1))
    found: npt.NDArray[Scalar] = np.asarray(cv2.LUT(flat, cast(Any, table), target))
    return found.reshape(codes.shape)


@lru_cache(maxsize=4)
class Encoder:
    """Linear light to 16-bit codes of a transfer function, correctly rounded.

    The square root of the light picks an entry of a first table: the code at the lower end of
    that entry's cell. No cell is wider than a few codes, so comparing with the exact light at
    which the next code begins, as often as the widest cell needs, gives the rounded code. Curves
    that are steeper in the dark than any power law of ordinary ones take the fourth root.
    """

    def __init__(self, curve: Curve) -> None:
        half_codes = (np.arange(CODE_MAX + 2) - 0.5) / CODE_MAX
        thresholds = curve.to_light(np.clip(half_codes, 0.0, 1.0))
        thresholds[-1] = np.inf
        ends = np.clip(np.arange(CODE_MAX + 2) - 0.51, 0, CODE_MAX) / CODE_MAX
        choices = []
        for roots in (1, 2):
            lights = ends ** (2**roots)
            codes = np.clip(np.searchsorted(thresholds[1:-1], lights, side="right"), 0, CODE_MAX)
            choices.append((int(np.diff(codes).max()), roots, codes[:-1].astype(np.uint16)))
        self._steps, self._roots, self._first = min(choices, key=lambda choice: choice[:2])
        # entry c is where code c + 1 begins
        self._next = thresholds[1:].astype(np.float32)

    def encode(self, light: LightArray) -> Uint16Array:
        """Return uint16 codes of the same shape; light is clipped to [0, 1], NaN becomes 0."""
        flat = np.ascontiguousarray(light, dtype=np.float32).reshape(-1)
        out = np.empty(flat.shape, np.uint16)
        for start in range(0, flat.size, BLOCK_SAMPLES):
            block = slice(start, start + BLOCK_SAMPLES)
            out[block] = self._encode_block(flat[block])
        return out.reshape(light.shape)

    def _encode_block(self, light: LightArray) -> Uint16Array:
        clipped = np.fmin(np.fmax(light, np.float32(0.0)), np.float32(1.0))
        index = np.sqrt(clipped)
        for _ in range(self._roots - 1):
            np.sqrt(index, out=index)
        index *= np.float32(CODE_MAX)
        index += np.float32(0.5)
        codes = look_up(index.astype(np.uint16), self._first)
        for _ in range(self._steps):
            codes += clipped >= look_up(codes, self._next)
        return codes


@dataclass(frozen=True, eq=False)
class CodedLight:
    """Light stored compactly: codes, and the light that each of them stands for.

    ``codes`` is uint8 or uint16 (H, W, 3); ``table`` float64 (256,) or (65536,). Whatever is
    done to each value alone can be done to the table instead of the picture.
    """

    codes: CodeArray
    table: Float64Array

    def light(self) -> LightArray:
        """Return linear light, float32 (H, W, 3)."""
        return look_up(self.codes, self.table.astype(np.float32))


Picture = LightArray | CodedLight


def as_light(picture: Picture) -> LightArray:
    """Return linear light, float32 (H, W, 3), of a picture stored either way."""
    return picture.light() if isinstance(picture, CodedLight) else picture
