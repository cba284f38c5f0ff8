"""What spoils bursts, laid into the light of simulated frames: for ``subjects.shoot``.

Each function returns what changes the light of frame ``number``, float32 (H, W, 3), linear.
"""

from __future__ import annotations

import cv2
import numpy as np

from stacker.scenes.scene import Light
from tests.benchmarks.subjects import Spoil

# what demosaicing makes of one photosite
TENT = np.array([[0.25, 0.5, 0.25], [0.5, 1.0, 0.5], [0.25, 0.5, 0.25]], np.float32)


def hot_pixels(
    count: int, size: tuple[int, int], seed: int = 1
) -> tuple[Spoil, set[tuple[int, int]]]:
    """Return the spoiler, and the columns and rows of the hot pixels."""
    rng = np.random.default_rng(seed)
    width, height = size
    # apart from each other, as on a sensor
    cells = rng.permutation((width // 12 - 2) * (height // 12 - 2))[:count]
    places = [
        (12 * (int(c) % (width // 12 - 2)) + 18, 12 * (int(c) // (width // 12 - 2)) + 18)
        for c in cells
    ]
    colours = rng.integers(0, 3, count)
    heights = rng.uniform(0.1, 0.4, count).astype(np.float32)

    def spoil(number: int, light: Light) -> Light:
        out = light.copy()
        for (x, y), colour, peak in zip(places, colours, heights, strict=True):
            out[y - 1 : y + 2, x - 1 : x + 2, colour] += peak * TENT
        return out

    return spoil, set(places)


def clouds(
    *, strength: float = 0.4, band: tuple[float, float] = (0.0, 0.45), seed: int = 1
) -> Spoil:
    """Return soft veils that drift through a band of the height and take or give light.

    ``strength`` is the greatest change of the light, as a share of it. They pass by a
    24th of the picture's width from frame to frame.
    """
    rng = np.random.default_rng(seed)

    def spoil(number: int, light: Light) -> Light:
        height, width = light.shape[:2]
        local = np.random.default_rng(seed)
        coarse = local.normal(size=(6, 24)).astype(np.float32)
        sheet = cv2.resize(coarse, (4 * width, height), interpolation=cv2.INTER_CUBIC)
        shift = int(width * (number / 24 + phase))
        veil = np.clip(sheet[:, shift : shift + width], -1, 1)
        rows = (np.arange(height) + 0.5) / height
        top, bottom = band
        edge = np.clip((rows - top) / 0.05 + 1, 0, 1) * np.clip((bottom - rows) / 0.1, 0, 1)
        return np.asarray(light * (1 + strength * veil * edge[:, None])[..., None], np.float32)

    phase = float(rng.uniform(0, 1))
    return spoil


def smoke(frames: int, *, light: float = 0.03, centre: tuple[float, float] = (0.5, 0.35)) -> Spoil:
    """Return smoke that is lit and grows from frame to frame, drifting to the right."""

    def spoil(number: int, frame: Light) -> Light:
        height, width = frame.shape[:2]
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        share = number / max(1, frames - 1)
        across = (x / width - centre[0] - 0.2 * (share - 0.5)) / 0.25
        down = (y / height - centre[1]) / 0.2
        veil = light * share * np.exp(-0.5 * (across**2 + down**2))
        return np.asarray(frame + veil[..., None], np.float32)

    return spoil


def headlamp(
    numbers: tuple[int, ...], *, light: float = 0.15, centre: tuple[float, float] = (0.8, 0.85)
) -> Spoil:
    """Return a torch that lights a part of the ground in some frames."""

    def spoil(number: int, frame: Light) -> Light:
        if number not in numbers:
            return frame
        height, width = frame.shape[:2]
        y, x = np.mgrid[0:height, 0:width].astype(np.float32)
        cone = np.exp(
            -0.5 * (((x / width - centre[0]) / 0.12) ** 2 + ((y / height - centre[1]) / 0.12) ** 2)
        )
        # the torch lights what is there: brighter ground sends more back
        return np.asarray(frame + light * cone[..., None] * (0.5 + frame), np.float32)

    return spoil


def bird(numbers: tuple[int, ...], *, centre: tuple[float, float] = (0.3, 0.15)) -> Spoil:
    """Return a dark bird that crosses the sky in some frames."""

    def spoil(number: int, frame: Light) -> Light:
        if number not in numbers:
            return frame
        out = frame.copy()
        height, width = frame.shape[:2]
        step = numbers.index(number)
        x, y = (centre[0] + 0.1 * step) * width, centre[1] * height
        axes = (max(4, width // 50), max(2, width // 150))
        cv2.ellipse(
            out, (round(x), round(y)), axes, 20, 0, 360, (0.01, 0.01, 0.01), -1, cv2.LINE_AA
        )
        return out

    return spoil
