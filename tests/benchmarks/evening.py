"""How well gains per frame are found on simulated bursts whose light was changed by known gains.

    python tests/benchmarks/evening.py

Each burst is drawn by ``stacker.scenes``, with patches of other light that hide a share of every
frame, times known gains, then through the camera's noise and 8-bit JPEGs. Printed are the root
mean square error of the gains and what the program tells of it, and how far the worst frame lies
off the ramp after ``--even auto`` (a straight line through 24 frames that flicker by 5 % is not
known better than to 2 % at its ends, however well each frame is known).
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

import stacker
from stacker.engine import Silent
from stacker.engine.evening import LightPass
from stacker.light.flicker import judge_evenness
from stacker.scenes.catalogue import SCENES
from stacker.scenes.exif import Stamp
from stacker.scenes.files import encode_frame
from stacker.scenes.scene import View
from stacker.scenes.stage import build_scene


@dataclass(frozen=True)
class Case:
    """A burst to be made uneven: flicker, colour flicker and a ramp in stops over the burst."""

    scene: str
    movers: float
    flicker: float
    tint: float = 0.0
    ramp_ev: float = 0.0
    frames: int = 24
    limit: float = 0.003


CASES = (
    Case("quay", 0.0, 0.03),
    Case("quay", 0.3, 0.03),
    Case("quay", 0.3, 0.03, tint=0.02),
    Case("quay", 0.5, 0.05, limit=0.006),
    Case("quay", 0.3, 0.03, ramp_ev=1.0),
    Case("harbour", 0.0, 0.03),
    Case("harbour", 0.3, 0.03, limit=0.006),
    Case("road", 0.0, 0.05, limit=0.01),
    Case("road", 0.3, 0.05, limit=0.01),
    Case("road", 0.3, 0.05, ramp_ev=-1.0, limit=0.01),
    Case("stars", 0.0, 0.05, limit=0.01),
    Case("stars", 0.3, 0.05, limit=0.01),
    Case("lighthouse", 0.0, 0.05, limit=0.01),
    Case("quay", 0.3, 0.03, ramp_ev=1.0, frames=80),
    Case("quay", 0.5, 0.0, limit=0.006),
    Case("harbour", 0.0, 0.0),
    Case("road", 0.0, 0.0, limit=0.01),
    Case("stars", 0.3, 0.0, limit=0.01),
    Case("lighthouse", 0.0, 0.0, limit=0.01),
    Case("fireworks", 0.0, 0.0, limit=0.01),
    Case("fireworks", 0.0, 0.05, limit=0.01),
    Case("quay", 0.5, 0.05, frames=8, limit=0.006),
    Case("quay", 0.3, 0.05, frames=3, limit=0.006),
    Case("road", 0.5, 0.05, limit=0.01),
)


def patches(light: np.ndarray, share: float, rng: np.random.Generator) -> np.ndarray:
    """Return the light with about that share of it hidden by patches of other light."""
    height, width = light.shape[:2]
    hidden = np.zeros((height, width), bool)
    out = light.copy()
    while hidden.mean() < share:
        h, w = rng.integers(height // 20, height // 4), rng.integers(width // 30, width // 5)
        y, x = rng.integers(0, height - h), rng.integers(0, width - w)
        # cars and walkers: most darker than what they hide, some brighter
        out[y : y + h, x : x + w] = light[y : y + h, x : x + w] * 2 ** rng.normal(-0.5, 1)
        hidden[y : y + h, x : x + w] = True
    return out


def make(case: Case, folder: Path, size: tuple[int, int]) -> np.ndarray:
    """Write the burst and return the natural logarithms of its gains, float64 (N, 3)."""
    info = SCENES[case.scene]
    scene = build_scene(case.scene, View(*size, 3, case.frames * info.interval_s))
    rng = np.random.default_rng(11)
    gains = case.flicker * rng.standard_normal((case.frames, 1))
    gains = gains + case.tint * rng.standard_normal((case.frames, 3))
    gains -= gains.mean(axis=0)
    gains += np.log(2) * case.ramp_ev * np.linspace(-0.5, 0.5, case.frames)[:, None]
    folder.mkdir(parents=True)
    for number in range(case.frames):
        start = number * info.interval_s
        light = scene.camera.through_lens(scene.light(start, start + info.shutter_s))
        if case.movers:
            light = patches(light, case.movers, rng)
        seen = scene.camera.expose((light * np.exp(gains[number])).astype(np.float32), rng)
        stamp = Stamp(scene.camera, start, info.shutter_s)
        (folder / f"KP_{number + 1:04d}.jpg").write_bytes(encode_frame(seen, stamp, "jpg"))
    return gains


def measure(case: Case, size: tuple[int, int]) -> dict[str, float]:
    """Return errors as shares: of gains, of what auto leaves, of the ramp; and seconds a frame."""
    with tempfile.TemporaryDirectory() as scratch:
        gains = make(case, Path(scratch) / "burst", size)
        burst = stacker.open_burst(Path(scratch) / "burst")
        began = time.process_time()
        found = LightPass(burst, range(case.frames), 1, Silent()).measure()
        seconds = (time.process_time() - began) / case.frames
    whole = np.stack([found[place].whole for place in range(case.frames)])
    halves = np.stack([found[place].halves for place in range(case.frames)])
    times = np.array([frame.start_s for frame in burst.frames])
    error = whole - gains
    error -= np.nanmean(error, axis=0)
    auto = judge_evenness(whole, halves, times, keep_slow=True)
    ramp = np.log(2) * case.ramp_ev * np.linspace(-0.5, 0.5, case.frames)[:, None]
    left = gains + np.log(auto.gains) - ramp
    return {
        "gain": float(np.sqrt(np.nanmean(error**2))),
        "told": auto.uncertainty,
        "applied": float(auto.needed),
        "ramp": float(np.abs(left - left.mean()).max()),
        "s": seconds,
    }


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--size", default="960x640")
    parser.add_argument("--only", help="scenes whose names hold this word")
    options = parser.parse_args()
    width, height = map(int, options.size.split("x"))
    columns = (
        "hidden",
        "flicker",
        "tint",
        "ramp EV",
        "error",
        "limit",
        "told",
        "auto off",
        "evened",
    )
    print(f"{'scene':12}{'frames':>7}" + "".join(f"{column:>9}" for column in columns), end="")
    print(f"{'CPU s/frame':>13}")
    for case in CASES:
        if options.only and options.only not in case.scene:
            continue
        found = measure(case, (width, height))
        print(
            f"{case.scene:12}{case.frames:7}{case.movers:9.0%}{case.flicker:9.0%}{case.tint:9.0%}"
            f"{case.ramp_ev:9.1f}{found['gain']:9.2%}{case.limit:9.1%}{found['told']:9.2%}"
            f"{found['ramp']:9.2%}{'yes' if found['applied'] else 'no':>9}{found['s']:13.3f}"
        )


if __name__ == "__main__":
    main()
