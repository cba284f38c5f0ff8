"""How well planes and satellites are taken out of star trails, on simulated nights.

    python -m tests.benchmarks.passing_planes             three seeds
    python -m tests.benchmarks.passing_planes --small     one small night, for the tests
    python -m tests.benchmarks.passing_planes --pictures DIR

The same night, with the same noise, is made with and without what passes; frames are 8-bit JPEGs.
Figures are of the lighten of all frames, in luminance:

removed    of the light that passing things add to the plain lighten, the share that is gone, in %
lost       of the light of star trails, the share that is gone with it, in %
kept       of a meteor's light, the share that is left, in %
found      streaks that were taken out; of frames without any, those in which one was
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from stacker.bridge.planes import Passing, find_passing
from stacker.bridge.planes.mend import carried_light, mended_light, pixels_of
from stacker.bridge.sky import SkyBridge, bridge_sky
from tests.benchmarks.simulated_skies import Array, Light
from tests.benchmarks.star_trails import LUMINANCE, _codes
from tests.benchmarks.trailed_nights import Night, TrailedNight


@dataclass(frozen=True)
class Passer:
    """Something that passes: from ``start`` at ``velocity`` (shares of the picture, and of it per
    exposure), in steps of time from ``first`` to ``last`` exposures after the burst began.

    ``steady`` is the light of its lamps along the way, in times a frame's noise, ``strobe`` that of
    a flash, of which there are ``flashes`` in an exposure.
    """

    start: tuple[float, float]
    velocity: tuple[float, float]
    first: float
    last: float
    steady: float = 0.0
    strobe: float = 0.0
    flashes: float = 20.0
    colour: tuple[float, float, float] = (1.0, 1.0, 1.0)
    meteor: bool = False

    def light(self, night: TrailedNight, begin: float, end: float) -> tuple[Array, Array]:
        """Return places (N, 2) px and their energy (N, 3) in a span of exposures."""
        size = np.array(night.night.size)
        low, high = max(begin, self.first), min(end, self.last)
        if low >= high:
            return np.zeros((0, 2)), np.zeros((0, 3))
        way = np.array(self.velocity) * size
        steps = max(2, int(np.hypot(*way) * (high - low) * 2))
        # a line's energy per pixel of its length makes this height, over a Gaussian across
        high_of = night.noise * np.sqrt(2 * np.pi) * night.night.width_px / 2.3548
        at = np.linspace(low, high, steps)
        shape = np.ones(steps)
        if self.meteor:
            # it swells and dies
            shape = np.sin(np.pi * (at - low) / (high - low)) ** 0.7
        energy = self.steady * high_of * np.hypot(*way) * (high - low) / steps * shape
        flashes = np.arange(np.ceil(low * self.flashes), high * self.flashes) / self.flashes
        # a flash is a point: its energy makes this height
        flash = self.strobe * night.noise * 2 * np.pi * (night.night.width_px / 2.3548) ** 2
        places = np.concatenate([at, flashes])
        light = np.concatenate([energy, np.full(len(flashes), flash)])
        where = np.array(self.start) * size + (places - self.first)[:, None] * way
        return where, light[:, None] * np.array(self.colour)


def passers(seed: int) -> list[Passer]:
    """Return what passes in one night."""
    rng = np.random.default_rng([seed, 21])
    shift = rng.uniform(-0.06, 0.06, (6, 2))

    def at(k: int, x: float, y: float) -> tuple[float, float]:
        return x + shift[k, 0], y + shift[k, 1]

    return [
        # a plane with steady lamps and strobes, right across
        Passer((-0.02, 0.2 + shift[0, 1]), (0.31, 0.1), 1.3, 5.2, steady=12, strobe=150,
               flashes=15, colour=(1.2, 0.9, 0.8)),
        # one of which only the strobes show
        Passer((1.02, 0.55 + shift[1, 1]), (-0.22, -0.08), 5.6, 11.0, strobe=60, flashes=9),
        # satellites: bright and fast, faint
        Passer(at(2, 0.5, -0.02), (-0.28, 0.62), 7.2, 9.0, steady=25),
        Passer((-0.02, 0.62 + shift[3, 1]), (0.55, -0.28), 9.3, 11.4, steady=5),
        # a plane far off that leaves short streaks
        Passer(at(4, 0.62, 0.12), (0.055, 0.035), 2.1, 9.9, steady=20, strobe=80, flashes=4),
        # a meteor
        Passer(at(5, 0.3, 0.5), (3.2, -2.0), 3.4, 3.46, steady=40, meteor=True),
    ]  # fmt: skip


class BusyNight(TrailedNight):
    """A night with things that pass."""

    def __init__(self, night: Night, seed: int, things: Sequence[Passer]) -> None:
        super().__init__(night, seed)
        self.things = things

    def layer(self, number: int, *, meteors: bool) -> Light:
        """Return the light of what passes in one frame."""
        steps = self.night.steps
        begin = self.night.first_steps[number] / steps
        each = [t.light(self, begin, begin + 1) for t in self.things if t.meteor == meteors]
        place = np.concatenate([np.full((1, 2), 50.0), *(place for place, _ in each)])
        # a point without light: there may be nothing to be drawn
        energy = np.concatenate([np.zeros((1, 3)), *(energy for _, energy in each)])
        return self._drawn(place, energy)

    def with_passers(self) -> list[Light]:
        """Return the frames with what passes, and the noise of those without."""
        frames, truth = self._made
        added = [
            stars + self.layer(n, meteors=False) + self.layer(n, meteors=True)
            for n, stars in enumerate(frames)
        ]
        self.__dict__["_made"] = (added, truth)
        lights = self.lights()
        self.__dict__["_made"] = (frames, truth)
        return lights


def mended(lights: Sequence[Light], passing: Passing, sky: SkyBridge) -> list[Light]:
    """Return the frames without what passes."""
    out = []
    for number, light in enumerate(lights):
        planes = passing.planes(number)
        if planes:
            light = light.copy()
            where = pixels_of(planes, light.shape)
            flat = light.reshape(-1, 3)
            seen = [
                carried_light(where, number, other, lights[other], sky)
                for other in (number - 1, number + 1)
                if 0 <= other < len(lights)
            ]
            flat[where] = mended_light(flat[where], [each for each in seen if each is not None])
        out.append(light)
    return out


@dataclass(frozen=True)
class Figures:
    """Of one night, in percent; and counts."""

    removed: float
    lost: float
    kept: float
    taken: int
    meteors: int


def measure(
    night: Night, seed: int, things: Sequence[Passer]
) -> tuple[Figures, list[Light], float]:
    """Return the figures, pictures (clean, with, mended) and processor seconds a frame."""
    burst = BusyNight(night, seed, things)
    clean, lights = burst.lights(), burst.with_passers()
    start = time.process_time()
    sky = bridge_sky(lights.__getitem__, burst.exposed)
    looked = time.process_time() - start
    start = time.process_time()
    passing = find_passing(lights.__getitem__, burst.exposed, sky, tuple(map(float, LUMINANCE)))
    result = mended(lights, passing, sky)
    spent = (time.process_time() - start) / night.frames
    del looked
    pictures = [np.max(each, axis=0) for each in (clean, lights, result)]
    free, dirty, done = (each @ LUMINANCE for each in pictures)
    planes = np.max([burst.layer(n, meteors=False) for n in range(night.frames)], axis=0)
    meteor = np.max([burst.layer(n, meteors=True) for n in range(night.frames)], axis=0)
    flown = (planes @ LUMINANCE) > 0.3 * burst.noise
    fell = ((meteor @ LUMINANCE) > 0.3 * burst.noise) & ~flown
    stars = (burst.truth - burst.still) @ LUMINANCE

    def over(picture: Light, where: Array) -> float:
        return float(np.maximum(picture - free, 0)[where].sum())

    trails = stars > burst.noise
    lost = float(np.maximum(free - done, 0)[trails].sum() / stars[trails].sum())
    figures = Figures(
        100 * (1 - over(done, flown) / max(over(dirty, flown), 1e-9)),
        100 * lost,
        100 * over(done, fell) / max(over(dirty, fell), 1e-9),
        sum(len(passing.planes(n)) for n in range(night.frames)),
        sum(len(passing.meteors(n)) for n in range(night.frames)),
    )
    return figures, pictures, spent


NIGHTS = (
    Night("clear", gap=0.1, size=(960, 640), stars=160),
    Night("clear, many faint stars", gap=0.1, size=(960, 640), stars=900, strengths=(4.0, 60.0)),
    Night("clouds over a third", gap=0.1, size=(960, 640), stars=160, clouds=0.33),
    Night("short frames", gap=0.1, size=(960, 640), stars=160, shutter_s=40.0),
)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--only", default="", help="nights whose names hold this word")
    parser.add_argument("--pictures", type=Path)
    options = parser.parse_args()
    cv2.setNumThreads(1)
    nights = NIGHTS
    if options.small:
        options.seeds = 1
        nights = (replace(NIGHTS[0], size=(600, 400), frames=6, stars=80, steps=24),)
    print(f"{'night':28}{'seed':>5}{'what':>9}{'removed':>9}{'lost':>7}{'kept':>7}"
          f"{'taken':>7}{'meteors':>9}{'ms a frame':>12}")  # fmt: skip
    for night in nights:
        if options.only not in night.name:
            continue
        for seed in range(1, options.seeds + 1):
            for what, things in (("busy", passers(seed)), ("nothing", [])):
                each, pictures, spent = measure(night, seed, things)
                removed = f"{each.removed:9.1f}" if things else f"{'-':>9}"
                kept = f"{each.kept:7.1f}" if things else f"{'-':>7}"
                print(f"{night.name:28}{seed:>5}{what:>9}{removed}{each.lost:7.3f}{kept}"
                      f"{each.taken:>7}{each.meteors:>9}{1000 * spent:12.0f}")  # fmt: skip
                if options.pictures and things:
                    options.pictures.mkdir(parents=True, exist_ok=True)
                    row = np.hstack([_codes(each) for each in pictures[1:]])
                    name = night.name.replace(", ", "-").replace(" ", "_")
                    cv2.imwrite(str(options.pictures / f"{name}-{seed}.png"), row[..., ::-1])


if __name__ == "__main__":
    main()
