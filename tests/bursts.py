"""Small bursts on disk for the tests of engine and commands."""

from datetime import datetime, timedelta
from pathlib import Path

import cv2
import numpy as np
import tifffile
from PIL import Image

START = datetime(2031, 6, 14, 22, 0, 0)


def exif_block(start: datetime, shutter_s: float, **tags: object) -> Image.Exif:
    """Return Exif with the times of a frame."""
    exif = Image.Exif()
    exif[0x010F], exif[0x0110] = "Kestrel Point Instruments", "Simulated 24"
    details = exif.get_ifd(0x8769)
    details[0x9003] = start.strftime("%Y:%m:%d %H:%M:%S")
    details[0x9291] = f"{start.microsecond // 1000:03d}"
    details[0x829A] = shutter_s
    for tag, value in tags.items():
        details[int(tag[1:], 16)] = value
    return exif


def write_jpegs(
    folder: Path,
    count: int,
    *,
    size: tuple[int, int] = (48, 32),
    seed: int = 0,
    shutter_s: float = 0.5,
    interval_s: float = 2.0,
    prefix: str = "KP",
) -> list[np.ndarray]:
    """Write frames of soft random colour, and return them as they decode."""
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(seed)
    decoded = []
    for number in range(count):
        pixels = rng.integers(0, 256, (size[1] // 8, size[0] // 8, 3), dtype=np.uint8)
        picture = Image.fromarray(pixels).resize(size, Image.Resampling.BILINEAR)
        start = START + timedelta(seconds=number * interval_s)
        path = folder / f"{prefix}_{number + 1:04d}.jpg"
        picture.save(path, quality=92, exif=exif_block(start, shutter_s))
        decoded.append(np.asarray(Image.open(path)).copy())
    return decoded


def write_tiffs(folder: Path, frames: list[np.ndarray]) -> None:
    """Write frames as they are."""
    folder.mkdir(parents=True, exist_ok=True)
    for number, pixels in enumerate(frames):
        tifffile.imwrite(folder / f"KP_{number + 1:04d}.tif", pixels, photometric="rgb")


def write_moving_lamp(folder: Path, count: int = 6) -> None:
    """Write frames of a lamp that draws a streak of 24 pixels in each, and 12 between them."""
    rng = np.random.default_rng(4)
    ground = rng.uniform(12, 20, (160, 240, 3))
    frames = []
    for number in range(count):
        frame = ground + rng.normal(0, 1.0, ground.shape)
        left = 10 + 36 * number
        frame[78:82, left : left + 24] = 240, 220, 200
        frames.append(cv2.GaussianBlur(frame, (0, 0), 1.0).clip(0, 255).astype(np.uint8))
    write_tiffs(folder, frames)
