"""How true bridged star trails are, on simulated nights against the sliding exposure.

    python -m tests.benchmarks.star_trails               all nights
    python -m tests.benchmarks.star_trails --small       one small night, in seconds
    python -m tests.benchmarks.star_trails --only faint  nights whose names hold a word
    python -m tests.benchmarks.star_trails --pictures DIR
    python -m tests.benchmarks.star_trails --speed       processor time at 24 megapixels

Figures are of the luminance above the sky along the true ways of stars, over that of the truth,
from the middle of the first exposure to that of the last:

fill      of the length where plain lighten lies under the truth by more than 15 %, between frames
          that both show the star: the share that comes within 15 % of it
ripple    standard deviation over mean
darkest   the first percentile over the mean
false     light added where the truth has none, as a share of the trails' energy
kept      pixels away from trails that change by no more than one code of 8 bits
bare      the same of the bridge's light over the sky without noise, which hides less of it
closing   a grey closing along the sky's true motion, as wide as a gap and a star, for comparison
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from stacker.bridge.sky import SkyBridge, bridge_sky
from stacker.light.srgb import linear_to_srgb
from tests.benchmarks.simulated_skies import Array, Light
from tests.benchmarks.trailed_nights import Night, TrailedNight

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
FAINT = (4.0, 10.0)
# ripple, darkest, fill, false light in %
BRIGHT_AIM, HALF_AIM, WHOLE_AIM = (0.042, 0.90, 0.99, 0.05), (0.047, 0.89, 0.985, 0.05), (
    0.055, 0.87, 0.98, 0.08,
)  # fmt: skip
LONG_AIM, FAINT_AIM = (0.060, 0.86, 0.98, 0.05), (None, None, 0.75, 0.05)
LONG = {5: 10.0}
FAR = {"focal_widths": 50 / 36, "pole_px": (0.5, -2.5), "shutter_s": 90.0}

NIGHTS: tuple[tuple[Night, tuple[float | None, ...]], ...] = (
    (Night("bright, no gap", gap=0.0), BRIGHT_AIM),
    (Night("bright, gap 0.05", gap=0.05), BRIGHT_AIM),
    (Night("bright, gap 0.2", gap=0.2), BRIGHT_AIM),
    (Night("bright, gap 0.5", gap=0.5), HALF_AIM),
    (Night("bright, gap 1", gap=1.0), WHOLE_AIM),
    (Night("bright, gap 0.2, one of 10", gap=0.2, long_gaps=LONG), LONG_AIM),
    (Night("bright, gap 0.2, pole outside", gap=0.2, **FAR), BRIGHT_AIM),
    (Night("bright, gap 0.2, soft", gap=0.2, width_px=2.8), BRIGHT_AIM),
    (Night("faint, gap 0.05", gap=0.05, strengths=FAINT), FAINT_AIM),
    (Night("faint, gap 0.2", gap=0.2, strengths=FAINT), FAINT_AIM),
    (Night("faint, gap 0.5", gap=0.5, strengths=FAINT), FAINT_AIM),
    (Night("faint, gap 1", gap=1.0, strengths=FAINT), FAINT_AIM),
    (Night("faint, gap 0.2, four frames", gap=0.2, frames=4, stars=200, strengths=FAINT),
     FAINT_AIM),
    (Night("faint, gap 0.2, one of 10", gap=0.2, long_gaps=LONG, strengths=FAINT), FAINT_AIM),
)  # fmt: skip
# a way counts where the picture shows it well inside
INSIDE_PX = 6.0
STEP_PX = 0.5
NEAR = 0.15
# truth that adds less than this to the sky has no light there
NO_LIGHT = 1e-4
DIRECTIONS = 16


@dataclass(frozen=True)
class Figures:
    """Of one picture."""

    ripple: float
    darkest: float
    fill: float
    false: float
    kept: float


def bridged(lights: Sequence[Light], bridge: SkyBridge, onto: Light | None = None) -> Light:
    """Return the lighten of frames, or of a picture, and of the light in the frames' gaps."""
    picture = np.max(lights, axis=0) if onto is None else onto.copy()
    for number in range(len(lights) - 1):
        for patch in bridge.between(number, lights[number], lights[number + 1]):
            height, width = patch.confidence.shape
            there = picture[patch.top : patch.top + height, patch.left : patch.left + width]
            np.maximum(there, patch.light, out=there)
    return picture


def bare_false(lights: Sequence[Light], bridge: SkyBridge, burst: TrailedNight) -> float:
    """Return the light that a bridge lays down where the truth has none, over a sky without noise,
    in percent of the trails' energy."""
    laid = bridged(lights, bridge, burst.still)
    away = (burst.truth - burst.still).max(axis=2) < NO_LIGHT
    added = ((laid - burst.still) @ LUMINANCE)[away].sum()
    return float(100 * added / ((burst.truth - burst.still) @ LUMINANCE).sum())


def closed(plain: Light, burst: TrailedNight) -> Light:
    """Return the picture closed along the sky's motion: the simple way, told the truth of it."""
    night, sky = burst.night, burst.sky
    height, width = plain.shape[:2]
    y, x = np.mgrid[0:height:8, 0:width:8]
    place = np.stack([x.ravel(), y.ravel()], 1).astype(float)
    later = sky.project(sky.rays(place) @ sky.turn(60.0, 0).T)
    way = (later - place) / 60.0 * night.shutter_s
    longest = max([night.gap, *night.long_gaps.values()])
    length = np.linalg.norm(way, axis=1) * longest + 2 * night.width_px
    angle = np.mod(np.arctan2(way[:, 1], way[:, 0]), np.pi)
    size = (width, height)
    number = np.rint(angle / np.pi * DIRECTIONS).astype(np.float32) % DIRECTIONS
    number = cv2.resize(number.reshape(y.shape), size, interpolation=cv2.INTER_NEAREST)
    reach = int(np.ceil(np.percentile(length, 75))) | 1
    picture = plain.copy()
    for direction in range(DIRECTIONS):
        angle_ = direction / DIRECTIONS * np.pi
        line = np.zeros((reach, reach), np.uint8)
        end = np.array([np.cos(angle_), np.sin(angle_)]) * (reach // 2)
        middle = reach // 2
        first, last = (tuple(np.rint(middle + s * end).astype(int).tolist()) for s in (-1, 1))
        cv2.line(line, first, last, 1)
        there = (number == direction) & ~sky.ground
        picture[there] = cv2.morphologyEx(plain, cv2.MORPH_CLOSE, line)[there]
    return picture


def _ways(burst: TrailedNight) -> list[tuple[Array, Array]]:
    """Return of each star the places along its way, px (N, 2), and the gap that each lies in, -1
    where one of the frames beside it does not show it."""
    night = burst.night
    middles = np.array(night.first_steps) + night.steps / 2
    fine = np.arange(middles[0], middles[-1], 0.5)
    every = np.stack([burst.place(step) for step in fine])
    ends = np.stack([burst.place(step) for step in middles])
    gap = np.searchsorted(middles, fine, side="right") - 1
    ways = []
    for star in range(len(burst.ray)):
        way, seen = every[:, star], _shown(ends[:, star], burst)
        length = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
        if length[-1] < 2 * STEP_PX:
            continue
        at = np.searchsorted(length, np.arange(0, length[-1], STEP_PX))
        own = gap[at]
        both = seen[own] & seen[own + 1]
        shown = _shown(way[at], burst)
        ways.append((way[at][shown], np.where(both, own, -1)[shown]))
    return [each for each in ways if len(each[0])]


def _shown(place: Array, burst: TrailedNight) -> Array:
    width, height = burst.night.size
    most = np.array([width, height]) - 1 - INSIDE_PX
    inside = ((place >= INSIDE_PX) & (place <= most)).all(axis=1)
    x, y = np.rint(np.clip(place, 0, most)).astype(int).T
    clear = ~burst.sky.ground[np.clip(y + 4, 0, height - 1), x]
    return inside & clear


def _along(picture: Light, way: Array) -> Array:
    x, y = way.astype(np.float32).T
    return cv2.remap(picture, x[:, None], y[:, None], cv2.INTER_CUBIC)[:, 0].astype(float)


def figures(picture: Light, plain: Light, burst: TrailedNight) -> Figures:
    """Return the figures of a picture."""
    grey, grey_plain, grey_truth, still = (
        each @ LUMINANCE for each in (picture, plain, burst.truth, burst.still)
    )
    ripple, darkest, right, needed = [], [], 0, 0
    for way, gap in _ways(burst):
        true = _along(grey_truth - still, way)
        ratio = _along(grey - still, way) / true
        before = _along(grey_plain - still, way) / true
        between = gap >= 0
        if between.sum() > 8:
            ripple.append(ratio[between].std() / ratio[between].mean())
            darkest.append(np.percentile(ratio[between], 1) / ratio[between].mean())
        poor = between & (before < 1 - NEAR)
        needed += int(poor.sum())
        right += int((poor & (np.abs(ratio - 1) <= NEAR)).sum())
    away = (burst.truth - burst.still).max(axis=2) < NO_LIGHT
    added = np.maximum(grey - grey_plain, 0)[away].sum()
    changed = np.abs(_codes(picture).astype(int) - _codes(plain)).max(axis=2) > 1
    return Figures(
        float(np.median(ripple)), float(np.median(darkest)), right / max(needed, 1),
        float(100 * added / (grey_truth - still).sum()), float(100 * (1 - changed[away].mean())),
    )  # fmt: skip


def _codes(light: Light) -> np.ndarray:
    return np.rint(linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)


def _line(name: str, each: Figures, aim: Sequence[float | None] = ()) -> str:
    wanted = "/".join("-" if value is None else f"{value:g}" for value in aim)
    return (
        f"{name:34}{each.ripple:8.3f}{each.darkest:9.2f}{each.fill:8.3f}{each.false:9.4f}"
        f"{each.kept:9.3f}  {wanted}"
    )


def _measure(night: Night, aim: Sequence[float | None], seed: int, folder: Path | None) -> None:
    burst = TrailedNight(night, seed)
    lights = burst.lights()
    plain = np.max(lights, axis=0)
    begun = time.process_time()
    bridge = bridge_sky(lights.__getitem__, burst.exposed)
    looked = (time.process_time() - begun) / len(lights)
    begun = time.process_time()
    picture = bridged(lights, bridge)
    spent = (time.process_time() - begun) / (len(lights) - 1)
    print(_line(night.name, figures(picture, plain, burst), aim), end="")
    bare = bare_false(lights, bridge, burst)
    print(f"  bare {bare:.4f}  {1000 * looked:.0f} + {1000 * spent:.0f} ms")
    print(_line("    plain lighten", figures(plain, plain, burst)))
    simple = closed(plain, burst)
    print(_line("    closing", figures(simple, plain, burst)), flush=True)
    if folder:
        folder.mkdir(parents=True, exist_ok=True)
        stem = night.name.replace(", ", "-").replace(" ", "_")
        row = np.hstack([_codes(each) for each in (plain, picture, simple, burst.truth)])
        cv2.imwrite(str(folder / f"{stem}.png"), row[..., ::-1])


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="seconds instead of minutes")
    parser.add_argument("--only", default="", help="nights whose names hold this word")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--pictures", type=Path, help="a folder for before, after, closing, truth")
    parser.add_argument("--speed", action="store_true", help="processor time at 24 megapixels")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    if options.speed:
        _speed()
        return
    print(
        f"{'':34}{'ripple':>8}{'darkest':>9}{'fill':>8}{'false %':>9}{'kept %':>9}"
        "  aim: ripple/darkest/fill/false; bare %; CPU: look a frame + a gap"
    )
    nights = NIGHTS
    if options.small:
        night, aim = NIGHTS[2]
        nights = ((replace(night, size=(480, 320), frames=6, stars=60), aim),)
    for night, aim in nights:
        if options.only in night.name:
            _measure(night, aim, options.seed, options.pictures)


def _speed() -> None:
    """Print what a gap of a night of 24 megapixels costs."""
    night = Night(
        "24 megapixels", size=(6000, 4000), frames=4, shutter_s=30.0, stars=4000,
        strengths=(4.0, 150.0), hot_pixels=400,
    )  # fmt: skip
    burst = TrailedNight(night, 1)
    lights = [burst.quick(number) for number in range(night.frames)]
    _, data = cv2.imencode(".jpg", _codes(lights[0]), [cv2.IMWRITE_JPEG_QUALITY, 94])
    begun = time.process_time()
    cv2.imdecode(data, cv2.IMREAD_COLOR)
    decoded = time.process_time() - begun
    begun = time.process_time()
    bridge = bridge_sky(lights.__getitem__, burst.exposed)
    looked = (time.process_time() - begun) / night.frames
    known = 0 if bridge.sky is None else len(bridge.sky.stars)
    tracemalloc.start()
    begun = time.process_time()
    patches = bridge.between(1, lights[1], lights[2])
    spent = time.process_time() - begun
    most = tracemalloc.get_traced_memory()[1] / 1e6
    print(
        f"{known} stars: decode {decoded:.3f} s, look {looked:.2f} s a frame, gap {spent:.2f} s, "
        f"{len(patches)} patches, {most:.0f} MB besides the frames"
    )


if __name__ == "__main__":
    main()
