"""Pictures and Exif blocks that the tests of finishing share."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from stacker.finish import Metadata, Tone, save_picture
from stacker.light.encoding import CodedLight, LightArray, Picture, light_table
from stacker.light.space import SRGB

WIDTH, HEIGHT = 61, 43
EXIF_IFD, GPS_IFD = 0x8769, 0x8825
NEUTRAL = Tone()
PLAIN = Metadata(exposure_s=12.5, description="mean of 24 frames", software="stacker 0.1.0")


def coded(top: int = 255, height: int = HEIGHT, width: int = WIDTH, seed: int = 5) -> CodedLight:
    """Return random coded light of 8 or 16 bits with the sRGB table, every end code in it."""
    dtype = np.uint8 if top == 255 else np.uint16
    codes = np.random.default_rng(seed).integers(0, top + 1, (height, width, 3)).astype(dtype)
    codes[0, 0], codes[-1, -1] = 0, top
    return CodedLight(codes, light_table(SRGB.curve, top))


def smooth_light(height: int = HEIGHT, width: int = WIDTH) -> LightArray:
    """Return light that changes slowly, float32 (H, W, 3) from 0 to 1."""
    y, x = np.mgrid[0:height, 0:width]
    ramp = (x / (width - 1) + y / (height - 1)) / 2
    return np.stack([ramp, ramp**2, 1 - ramp], axis=-1).astype(np.float32)


def cut(picture: Picture, heights: Sequence[int]) -> Iterator[Picture]:
    """Yield the picture in bands of the given heights, the last one taking the rest."""
    pixels = picture.codes if isinstance(picture, CodedLight) else picture
    tops = [0, *np.cumsum(heights).tolist()]
    for top, bottom in zip(tops, [*tops[1:], pixels.shape[0]], strict=True):
        part = pixels[top:bottom]
        yield CodedLight(part, picture.table) if isinstance(picture, CodedLight) else part


def save(target: Path, picture: Picture, **options: Any) -> list[str]:
    """Save a picture as one band, in sRGB and a neutral tone unless told otherwise."""
    pixels = picture.codes if isinstance(picture, CodedLight) else picture
    settings: dict[str, Any] = {
        "size": (pixels.shape[1], pixels.shape[0]),
        "space": SRGB,
        "tone": NEUTRAL,
        "metadata": PLAIN,
    } | options
    bands = settings.pop("bands", [picture])
    return save_picture(target, bands, **settings)


def camera_exif(*, big_endian: bool = False) -> bytes:
    """Return the Exif block of a frame with much in it that must not get into a result."""
    exif = Image.Exif()
    exif.endian = ">" if big_endian else "<"
    exif[0x010F], exif[0x0110] = "Maker", "Model 7"
    exif[0x0112], exif[0x0132] = 6, "2024:05:06 07:08:10"
    exif[0x013B], exif[0x8298], exif[0x9C9D] = "Ann Owner", "(c) Ann", b"A\0n\0n\0\0\0"
    exif[0x010E] = "text of the frame"
    part = exif.get_ifd(EXIF_IFD)
    part[0x829A], part[0x829D], part[0x8827] = IFDRational(1, 2), IFDRational(14, 5), 400
    part[0x9201] = IFDRational(1, 1)
    part[0x9003], part[0x9291], part[0x9011] = "2024:05:06 07:08:09", "123", "+02:00"
    part[0x920A], part[0xA403], part[0xA434] = IFDRational(35, 1), 1, "Lens 35/2"
    part[0x9204] = IFDRational(-1, 2)
    part[0xA430], part[0xA431], part[0xA435] = "Ann Owner", "BODY123", "LENS456"
    part[0xA420], part[0x927C] = "0123456789abcdef", b"secret note of the maker"
    part[0xA002], part[0xA003] = 9999, 8888
    place = exif.get_ifd(GPS_IFD)
    place[1], place[2], place[3], place[4] = "N", (47.0, 22.0, 8.5), "E", (8.0, 32.0, 1.0)
    return exif.tobytes()
