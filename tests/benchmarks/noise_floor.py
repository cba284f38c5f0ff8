"""How true the floor of a lighten is: sky, noise and trails of simulated nights, against the truth.

    python tests/benchmarks/noise_floor.py

Each night is 120 frames of a dark sky over dark land with a lamp, through which stars of known
strength pass: their peak is so many times the noise of one frame. All figures are in linear light.

level      the sky's mean light over that of the mean blend, less 1, worst channel
noise      the sky's scatter about the truth over that of the mean blend, worst channel
SNR n      light along the trails of stars of that strength, over the truth; the faintest trail
           in brackets
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from stacker.blend import Blend, Intake
from stacker.blend.light_sum import Mean
from stacker.blend.lighten import Lighten
from stacker.light.encoding import Encoding, as_light
from stacker.light.space import SRGB
from stacker.light.srgb import linear_to_srgb

STRENGTHS = (3, 5, 8, 20)
SKY = np.array([0.8, 0.9, 1.3], np.float32)
STAR_SIGMA_PX = 1.0
STAR_STEP_PX = 0.7
# of the noise, in linear light: what reading adds, and the electrons that white stands for
READ_NOISE, FULL_WELL = 0.0015, 12_500


@dataclass(frozen=True)
class Night:
    """What a simulated night is like.

    ``noise`` is "fine" (each value by itself), "grey" (three channels alike), "soft" (as after
    demosaicing) or "counts" (few photons). ``stored`` is uint8 or uint16; ``jpeg`` compresses.
    ``shade`` brightens the corners, and their noise, by so many times at the most. ``stars`` is
    how many there are of each strength.
    """

    name: str
    noise: str = "fine"
    stored: str = "uint8"
    jpeg: bool = False
    shade: float = 1.0
    stars: int = 8
    frames: int = 120
    size: tuple[int, int] = (540, 360)
    seed: int = 1


NIGHTS = (
    Night("fine noise"),
    Night("16 bits", stored="uint16"),
    Night("demosaiced", noise="soft"),
    Night("the same in all channels", noise="grey"),
    Night("few photons", noise="counts"),
    Night("JPEG", jpeg=True),
    Night("brightened corners", noise="soft", shade=2.0),
    Night("many stars", noise="soft", stars=18),
    Night("thirty frames", noise="soft", frames=30),
)


@dataclass(frozen=True)
class Star:
    """A star's strength, where it begins, its slope in the picture, and its colour."""

    strength: int
    x: float
    y: float
    slope: float
    warmth: float


class Sky:
    """The light of a night without noise, and its stars."""

    def __init__(self, night: Night) -> None:
        self.night = night
        width, height = night.size
        rng = np.random.default_rng(night.seed)
        rows, columns = np.mgrid[0:height, 0:width].astype(np.float32)
        self.still = (0.010 + 0.006 * rows / height)[..., np.newaxis] * SKY
        self.land = rows > 0.85 * height
        self.still[self.land] *= 0.3
        lamp = np.hypot(columns - 0.55 * width, rows - 0.92 * height) < 5
        self.still[lamp] = (0.9, 0.7, 0.4)
        radius = np.hypot(columns / width - 0.5, rows / height - 0.5) / np.sqrt(0.5)
        self.shade = (1 + (night.shade - 1) * radius**2)[..., np.newaxis]
        tracks = np.linspace(12, 0.8 * height, night.stars * len(STRENGTHS))
        rng.shuffle(tracks)
        strengths = np.repeat(STRENGTHS, night.stars)
        self.stars = [
            Star(
                int(strength),
                x=rng.uniform(10, 0.6 * width),
                y=y,
                slope=rng.uniform(-0.05, 0.05),
                warmth=rng.uniform(0.9, 1.1),
            )
            for strength, y in zip(strengths, tracks, strict=True)
        ]
        self.brightest = self.still.copy()
        for number in range(night.frames):
            np.maximum(self.brightest, self.frame(number), out=self.brightest)

    def frame(self, number: int) -> np.ndarray:
        """Return the light of one frame, float32 (H, W, 3)."""
        light = self.still.copy()
        reach = 6
        for star in self.stars:
            x = star.x + STAR_STEP_PX * number
            y = star.y + star.slope * (x - star.x)
            if not (reach <= x < light.shape[1] - reach and reach <= y < light.shape[0] - reach):
                continue
            top, left = int(y) - reach, int(x) - reach
            rows, columns = np.mgrid[0 : 2 * reach + 1, 0 : 2 * reach + 1]
            r2 = (columns + left - x) ** 2 + (rows + top - y) ** 2
            peak = star.strength * noise_of(self.still[int(y), int(x)].mean())
            spot = peak * np.exp(-r2 / (2 * STAR_SIGMA_PX**2))
            colour = np.array([star.warmth, 1, 2 - star.warmth])
            side = slice(0, 2 * reach + 1)
            light[top:, left:][side, side] += spot[..., np.newaxis] * colour
        return light


def noise_of(light: np.ndarray | float) -> np.ndarray:
    """Return the standard deviation of one value."""
    return np.sqrt(READ_NOISE**2 + np.maximum(light, 0) / FULL_WELL)


def shoot(sky: Sky) -> Iterator[np.ndarray]:
    """Yield the frames as a camera stores them."""
    night = sky.night
    rng = np.random.default_rng(night.seed + 1)
    top = 255 if night.stored == "uint8" else 65535
    for number in range(night.frames):
        light = sky.frame(number)
        if night.noise == "counts":
            noisy = rng.poisson(np.maximum(light, 0) * 4000.0) / 4000.0
        else:
            # a rim to cut off: at a mirrored edge blurred noise is stronger
            rim = 4
            shape = (light.shape[0] + 2 * rim, light.shape[1] + 2 * rim)
            noise = rng.standard_normal((*shape, 1 if night.noise == "grey" else 3))
            if night.noise == "soft":
                noise = cv2.GaussianBlur(noise, (0, 0), 0.7)
                noise /= noise.std()
            noise = noise.reshape(*shape, -1)[rim:-rim, rim:-rim]
            noisy = light + noise * noise_of(light) * np.sqrt(sky.shade)
        codes = np.rint(linear_to_srgb(np.clip(noisy, 0, 1)) * top).astype(night.stored)
        if night.jpeg:
            _, data = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, 92])
            codes = cv2.imdecode(data, cv2.IMREAD_COLOR)
        yield codes


@dataclass(frozen=True)
class Figures:
    """Level and noise of the sky, and the light of the trails by strength: mean and least."""

    level: float
    noise: float
    trails: dict[int, tuple[float, float]]


def blended(sky: Sky, blends: list[Blend]) -> list[np.ndarray]:
    """Return the light of each blend of one night."""
    width, height = sky.night.size
    encoding = Encoding(sky.night.stored, SRGB)  # type: ignore[arg-type]
    intake = Intake(encoding, (1.0,) * sky.night.frames)
    accumulators = [blend.start(intake, height, width) for blend in blends]
    for index, frame in enumerate(shoot(sky)):
        for accumulator in accumulators:
            accumulator.add(frame, index=index)
    return [as_light(accumulator.result()) for accumulator in accumulators]


def judged(sky: Sky, result: np.ndarray, mean: np.ndarray) -> Figures:
    """Return the figures of a result, against the truth and against the mean blend."""
    passed = (sky.brightest - sky.still).max(-1) > 1e-5
    near = cv2.dilate((passed | sky.land).astype(np.uint8), np.ones((9, 9))) > 0
    empty = ~near
    level = result[empty].mean(0) / mean[empty].mean(0) - 1
    scatter = (result - sky.still)[empty].std(0) / (mean - sky.still)[empty].std(0)
    trails = {}
    for strength in STRENGTHS:
        kept = [_along(sky, star, result) for star in sky.stars if star.strength == strength]
        kept = [value for value in kept if value is not None]
        trails[strength] = (float(np.mean(kept)), float(min(kept)))
    return Figures(float(level[np.abs(level).argmax()]), float(scatter.max()), trails)


def _along(sky: Sky, star: Star, result: np.ndarray) -> float | None:
    """Return the light along a trail over the true one; None where it is hardly in the picture."""
    columns = np.arange(int(star.x) + 4, int(star.x + STAR_STEP_PX * (sky.night.frames - 1)) - 4)
    rows = np.rint(star.y + star.slope * (columns - star.x)).astype(int)
    inside = (columns < sky.night.size[0] - 8) & (rows > 8) & ~sky.land[rows, 0]
    if inside.sum() < 10:
        return None
    rows, columns = rows[inside], columns[inside]
    true = (sky.brightest - sky.still)[rows, columns].sum()
    return float((result - sky.still)[rows, columns].sum() / true)


def main() -> None:
    """Measure and print."""
    head = "".join(f"{f'SNR {strength}':>16}" for strength in STRENGTHS)
    print(f"{'':26}{'floor':8}{'level':>8}{'noise':>8}{head}")
    for night in NIGHTS:
        sky = Sky(night)
        mean, plain, true = blended(sky, [Mean(), Lighten(), Lighten(true_floor=True)])
        for floor, result in (("plain", plain), ("true", true)):
            figures = judged(sky, result, mean)
            told = "".join(
                f"{f'{kept:.2f} ({least:.2f})':>16}" for kept, least in figures.trails.values()
            )
            name = night.name if floor == "plain" else ""
            print(f"{name:26}{floor:8}{figures.level:+8.3f}{figures.noise:8.2f}{told}")


if __name__ == "__main__":
    main()
