"""From a decoded frame of a clip to RGB, by its own matrix and range, and which way up.

Codes come out within two thirds of a code of 8 bits of the exact value, deeper ones within 0.6 of
65535, without a bias (tests/light/test_ycbcr.py). A chroma sample stands for the pixels of its
block: between them nothing is interpolated.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import numpy as np

from stacker.burst.orientation import UPRIGHT
from stacker.errors import FrameError
from stacker.light.encoding import CodeArray, PixelArray
from stacker.light.h273 import LUMA_SHARES, RGB_MATRIX, YCGCO
from stacker.light.ycbcr import PlanesToRgb, YcbcrCodes

# ITU-T H.273 table 4: what a clip without a tag says
UNSPECIFIED = (0, 2, 3)
BT709, BT601 = 1, 5
BT2020_CONSTANT, BT2020 = 10, 9
# from this height on untagged clips are taken as high definition
HD_HEIGHT = 720
LIMITED_RANGE, FULL_RANGE = 1, 2
# bits of a whole number; what has more is in floating point
DEEPEST = 16
# signs of the display matrix (a, b, c, d) for each orientation
_MATRICES = {
    (1, 0, 0, 1): 1,
    (-1, 0, 0, 1): 2,
    (-1, 0, 0, -1): 3,
    (1, 0, 0, -1): 4,
    (0, 1, 1, 0): 5,
    (0, 1, -1, 0): 6,
    (0, -1, -1, 0): 7,
    (0, -1, 1, 0): 8,
}
# width and height of a chroma sample in pixels; formats with mixed channels have no others
_SUBSAMPLINGS = {(1, 1): "444", (2, 1): "422", (2, 2): "420", (4, 1): "411"}


def has_deep_samples(frame: Any) -> bool:
    """Whether a frame's samples have more than eight bits."""
    return any(component.bits > 8 for component in frame.format.components)


def orientation_of(frame: Any) -> int:
    """Return the Exif orientation (1 to 8) that shows a frame as its clip's matrix says.

    Turns that are no multiple of 90 degrees are left as they lie.
    """
    for data in frame.side_data:
        if data.type.name == "DISPLAYMATRIX":
            a, b, _, c, d = struct.unpack_from("=5i", bytes(data))
            largest = max(abs(a), abs(b), abs(c), abs(d), 1)
            signs = (round(a / largest), round(b / largest), round(c / largest), round(d / largest))
            return _MATRICES.get(signs, UPRIGHT)
    return UPRIGHT


def notes_on(frame: Any) -> tuple[str, ...]:
    """Return what a person should know about frames like this one, each a clause."""
    notes = []
    if frame.interlaced_frame:
        notes.append("its frames are interlaced: what moves has combed edges")
    if any(component.is_alpha for component in frame.format.components):
        notes.append("its transparency is left out")
    if not _is_rgb(frame) and _matrix(frame) != frame.colorspace not in UNSPECIFIED:
        notes.append(
            f"its colour matrix (number {frame.colorspace}) is not known; its colours are taken "
            f"by matrix {_matrix(frame)}"
        )
    return tuple(notes)


class Converter:
    """Turns frames of one clip into RGB arrays; not to be shared between threads."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._to_rgb = PlanesToRgb()

    def __call__(self, frame: Any, number: int, out: PixelArray | None) -> PixelArray:
        """Return a frame as RGB, uint8 or uint16 (H, W, 3), in ``out`` where it is given.

        Raises
        ------
        FrameError
            The picture's size changes within the clip.
        """
        height, width = int(frame.height), int(frame.width)
        dtype = np.dtype(np.uint16 if has_deep_samples(frame) else np.uint8)
        target = np.empty((height, width, 3), dtype) if out is None else out
        if target.shape != (height, width, 3) or target.dtype != dtype:
            where = self._path.with_name(f"{self._path.name}#{number + 1:04d}")
            why = "the picture's size or depth changes within the clip"
            raise FrameError(where, why, remedy="cut the clip there", code="frame-mismatch")
        planar = _planar(frame)
        codes = _codes_of(frame, planar)
        self._to_rgb(_planes(planar), codes.to_rgb(), target)
        return target


def _is_rgb(frame: Any) -> bool:
    """Whether a frame holds R, G and B in any way, or gray."""
    layout = frame.format
    colours = [part for part in layout.components if not part.is_alpha]
    return bool(layout.is_rgb or len(colours) < 3 or layout.name.startswith("xyz"))


def _planar(frame: Any) -> Any:
    """Return the frame in a format with a plane of whole codes for each channel.

    FFmpeg's scaler takes the others apart: codes in YCbCr and those of 8 bits it only copies.
    """
    layout = frame.format
    colours = [part for part in layout.components if not part.is_alpha]
    bits = colours[0].bits
    apart = len({part.plane for part in layout.components}) == len(layout.components)
    even = all(part.bits == bits for part in colours) and 8 <= bits <= DEEPEST
    strange = layout.is_big_endian or layout.has_palette or "msb" in layout.name
    if apart and even and not strange:
        return frame
    if _is_rgb(frame):
        deep = "16le" if has_deep_samples(frame) else ""
        return frame.reformat(format=f"gbrp{deep}", threads=1)
    deep = f"{bits}le" if bits > 8 else ""
    across = round(frame.width / layout.chroma_width(frame.width))
    down = round(frame.height / layout.chroma_height(frame.height))
    return frame.reformat(format=f"yuv{_SUBSAMPLINGS[across, down]}p{deep}", threads=1)


def _planes(frame: Any) -> list[CodeArray]:
    """Return views of the three planes in the order R, G, B or Y, Cb, Cr; gray thrice."""
    colours = [part for part in frame.format.components if not part.is_alpha]
    parts = colours if len(colours) == 3 else [colours[0]] * 3
    return [_view(frame.planes[part.plane], part.bits) for part in parts]


def _view(plane: Any, bits: int) -> CodeArray:
    dtype = np.dtype(np.uint8 if bits == 8 else "<u2")
    rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)
    return rows[: plane.height, : plane.width * dtype.itemsize].view(dtype)


def _codes_of(frame: Any, planar: Any) -> YcbcrCodes:
    """Return what the codes of a frame mean, taken apart into ``planar``."""
    bits = planar.format.components[0].bits
    if _is_rgb(frame):
        return YcbcrCodes(RGB_MATRIX, bits, frame.color_range != LIMITED_RANGE)
    full = frame.color_range == FULL_RANGE or frame.format.name.startswith("yuvj")
    return YcbcrCodes(_matrix(frame), bits, full)


def _matrix(frame: Any) -> int:
    """Return the number of the matrix that undoes the frame's YCbCr, by its tag or its height."""
    number = int(frame.colorspace)
    if number == BT2020_CONSTANT:
        # not the same, but far nearer than any other
        return BT2020
    if number in LUMA_SHARES or number == YCGCO:
        return number
    return BT709 if frame.height >= HD_HEIGHT else BT601
