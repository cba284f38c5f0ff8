"""Files made for the tests: stills with Exif of their own, and small clips."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt
import simplejpeg

Pixels = npt.NDArray[Any]
WIDTH, HEIGHT = 24, 16


def picture(
    seed: int = 0, *, dtype: str = "uint8", size: tuple[int, int] = (WIDTH, HEIGHT)
) -> Pixels:
    """Return a picture of noise (H, W, 3); floats lie in [0, 1)."""
    rng = np.random.default_rng(seed)
    shape = (size[1], size[0], 3)
    if dtype.startswith("float"):
        return rng.random(shape).astype(dtype)
    return rng.integers(0, np.iinfo(dtype).max + 1, shape).astype(dtype)


def exif_block(
    *,
    taken: datetime | None = None,
    subsec: str = "",
    offset: str = "",
    shutter: tuple[int, int] | None = None,
    orientation: int | None = None,
    camera: tuple[str, str] | None = None,
    interop: str = "",
    order: str = ">",
) -> bytes:
    """Return a raw Exif block written value by value, without any library."""
    first: list[tuple[int, int, int, bytes]] = []
    shot: list[tuple[int, int, int, bytes]] = []
    if camera:
        first += [_text(271, camera[0]), _text(272, camera[1])]
    if orientation is not None:
        first.append((274, 3, 1, struct.pack(order + "HH", orientation, 0)))
    if shutter:
        shot.append((33434, 5, 1, struct.pack(order + "II", *shutter)))
    if taken:
        shot.append(_text(36867, taken.strftime("%Y:%m:%d %H:%M:%S")))
    if offset:
        shot.append(_text(36881, offset))
    if subsec:
        shot.append(_text(37521, subsec))
    block = (b"II" if order == "<" else b"MM") + struct.pack(order + "HI", 42, 8)
    return b"Exif\0\0" + block + _directories(first, shot, interop, order)


def _text(tag: int, text: str) -> tuple[int, int, int, bytes]:
    data = text.encode() + b"\0"
    return tag, 2, len(data), data


def _directory(entries: list[tuple[int, int, int, bytes]], place: int, order: str) -> bytes:
    table = struct.pack(order + "H", len(entries))
    behind = place + 2 + 12 * len(entries) + 4
    body = b""
    for tag, kind, count, data in sorted(entries):
        if len(data) <= 4:
            inline = data.ljust(4, b"\0")
        else:
            inline = struct.pack(order + "I", behind + len(body))
            body += data + b"\0" * (len(data) % 2)
        table += struct.pack(order + "HHI", tag, kind, count) + inline
    return table + b"\0\0\0\0" + body


def _directories(
    first: list[tuple[int, int, int, bytes]],
    shot: list[tuple[int, int, int, bytes]],
    interop: str,
    order: str,
) -> bytes:
    def pointer(tag: int, place: int) -> tuple[int, int, int, bytes]:
        return tag, 4, 1, struct.pack(order + "I", place)

    shot_at = 8 + len(_directory([*first, pointer(34665, 0)], 8, order))
    one = _directory([*first, pointer(34665, shot_at)], 8, order)
    if not interop:
        return one + _directory(shot, shot_at, order)
    interop_at = shot_at + len(_directory([*shot, pointer(40965, 0)], shot_at, order))
    two = _directory([*shot, pointer(40965, interop_at)], shot_at, order)
    return one + two + _directory([_text(1, interop)], interop_at, order)


def segment(marker: int, body: bytes) -> bytes:
    """Return one JPEG segment."""
    return bytes([0xFF, marker]) + (len(body) + 2).to_bytes(2, "big") + body


def jpeg_bytes(pixels: Pixels, *segments: bytes, gray: bool = False) -> bytes:
    """Return a JPEG with segments of one's own behind its start."""
    if gray:
        data = simplejpeg.encode_jpeg(
            np.ascontiguousarray(pixels[..., :1]), colorspace="GRAY", colorsubsampling="Gray"
        )
    else:
        data = simplejpeg.encode_jpeg(pixels, quality=90)
    return bytes(data[:2] + b"".join(segments) + data[2:])


def write_jpeg(path: Path, pixels: Pixels | None = None, **exif: Any) -> Path:
    """Write a JPEG with an Exif block made of the keywords of ``exif_block``."""
    pixels = picture() if pixels is None else pixels
    path.write_bytes(jpeg_bytes(pixels, *([segment(0xE1, exif_block(**exif))] if exif else [])))
    return path


def write_clip(
    path: Path,
    frames: Sequence[Pixels],
    *,
    stamps: Sequence[int] | None = None,
    codec: str = "ffv1",
    pixel_format: str = "bgr0",
    rate: int = 25,
    options: dict[str, str] | None = None,
    metadata: dict[str, str] | None = None,
    container_options: dict[str, str] | None = None,
) -> Path:
    """Write a clip; stamps are in thousandths of a second."""
    height, width = frames[0].shape[:2]
    with av.open(str(path), "w", options=container_options or {}) as container:
        container.metadata.update(metadata or {})
        stream = container.add_stream(codec, rate=rate, options=options or {})
        assert isinstance(stream, av.VideoStream)
        stream.width, stream.height, stream.pix_fmt = width, height, pixel_format
        stream.codec_context.time_base = Fraction(1, 1000)
        for place, pixels in enumerate(frames):
            deep = pixels.dtype == np.uint16
            frame = av.VideoFrame.from_ndarray(pixels, format="rgb48le" if deep else "rgb24")
            frame.pts = stamps[place] if stamps else place * 1000 // rate
            frame.time_base = Fraction(1, 1000)
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def turn_clip(path: Path, matrix: tuple[int, int, int, int]) -> None:
    """Write a display matrix (a, b, c, d), each -1, 0 or 1, into the track header of an MP4."""
    data = bytearray(path.read_bytes())
    place = data.find(b"tkhd")
    # behind: version and flags 4, version 0 times and ids 20, reserved 8, layer to volume 8
    at = place + 4 + 4 + 20 + 8 + 8
    a, b, c, d = (value << 16 for value in matrix)
    data[at : at + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(bytes(data))
