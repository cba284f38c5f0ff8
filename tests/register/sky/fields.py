"""Drawn points of light and small bursts for the tests of the sky."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.simulated_skies import Sky, SkyScenario, normal_cdf

LUMINANCE = (0.2126, 0.7152, 0.0722)
SIZE = (480, 320)


def draw(places: np.ndarray, energy: float, width_px: float, shape: tuple[int, int]) -> np.ndarray:
    """Return points of light of a full width ``width_px`` as pixels collect them, (H, W, 3)."""
    sigma = width_px / 2.3548
    light = np.zeros(shape)
    for x, y in places:
        across, down = (
            np.diff(normal_cdf((np.arange(count + 1) - 0.5 - at) / sigma))
            for count, at in ((shape[1], x), (shape[0], y))
        )
        light += energy * np.outer(down, across)
    return np.repeat(light[..., None], 3, axis=2).astype(np.float32)


def small_sky(seed: int = 1, **changes: object) -> Sky:
    """Return a small burst of a sky."""
    usual = {
        "frames": 5, "zero_light": 700.0, "faintest": 6.3, "hot_pixels": 15, "interval_s": 120.0,
    }  # fmt: skip
    return Sky(SkyScenario("small", **(usual | changes)), SIZE, seed)
