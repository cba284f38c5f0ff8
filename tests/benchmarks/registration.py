"""Accuracy and cost of registration on simulated bursts with exact truth.

    python -m tests.benchmarks.registration                 all scenarios, three bursts of each
    python -m tests.benchmarks.registration --small         a few small ones, in seconds
    python -m tests.benchmarks.registration --stills DIR    the same on still pictures of your own
    python -m tests.benchmarks.registration --only night    scenarios whose names hold a word

Errors are root mean square distances, in pixels, over the part of the picture where nothing moves
in any frame, between where the found and the true motion take a frame's pixels. ``bound`` is the
Cramer-Rao bound for one frame against one other of the same noise, over the same part, with
nothing else unknown (D. Robinson and P. Milanfar, "Fundamental performance limits in image
registration", IEEE TIP 13 (2004), doi:10.1109/TIP.2004.832923); coding is not in it.
"""

from __future__ import annotations

import argparse
import dataclasses
import time
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from stacker.errors import BurstError
from stacker.register import BurstMotion, LocalCorrection, register_frames
from stacker.register.geometry import apply, is_identity
from stacker.register.local import bilinear
from stacker.register.scene.grey import LUMINANCE
from stacker.register.scene.models import Frame
from tests.benchmarks.simulated_bursts import Scenario, SimulatedBurst, simulate

DUSK = {"exposure": 0.3, "full_well_e": 2000.0, "drift_ev": 1.0}
# a signal-to-noise ratio of about 3 in the mid tones
NIGHT = {"exposure": 0.2, "full_well_e": 150.0, "read_noise_e": 2.0}
ODD = {2: "black", 4: "flash", 6: "blur", 8: "focus", 10: "elsewhere", 12: "covered"}
LOST_PX = 1.0

SCENARIOS = (
    Scenario("day, static", wanted=(0.006, 0.012, 0)),
    Scenario("day, 30 % moving", moving=0.3, wanted=(0.006, 0.012, 0)),
    Scenario("day, 50 % moving", moving=0.5, wanted=(0.01, 0.05, 0)),
    Scenario("day, 50 % water", water=0.5, wanted=(0.006, 0.012, 0)),
    Scenario("day, 70 % water", water=0.7, wanted=(0.03, 0.1, 0.05)),
    Scenario("dusk drift, static", **DUSK, wanted=(0.008, 0.015, 0)),
    Scenario("dusk drift, 30 % moving", moving=0.3, **DUSK, wanted=(0.02, 0.05, 0)),
    Scenario("night, static", **NIGHT, wanted=(0.04, 0.08, 0)),
    Scenario("night, 30 % moving", moving=0.3, **NIGHT, wanted=(0.1, 0.3, 0)),
    Scenario("night, 50 % moving", moving=0.5, **NIGHT, wanted=(0.3, 0.8, 0.05)),
    Scenario("low texture, day", texture="plain", wanted=(0.03, 0.08, 0)),
    Scenario("low texture, night", texture="plain", **NIGHT, wanted=(0.15, 0.5, 0)),
    Scenario("lens", lens=-0.02, wanted=(0.1, 0.25, 0)),
    Scenario("rolling shutter", shutter_px=1.0, wanted=(0.15, 0.4, 0)),
    Scenario("two depths", depth_px=3.0, wanted=(0.3, 1.0, 0)),
    Scenario("tripod, day", still=(), wanted=(0, 0, 0)),
    Scenario("tripod, day, 30 % moving", still=(), moving=0.3, wanted=(0, 0, 0)),
    Scenario("tripod, water, drift", still=(), water=0.5, drift_ev=0.5, wanted=(0, 0, 0)),
    Scenario("tripod, night", still=(), **NIGHT, wanted=(0, 0, 0)),
    Scenario("tripod, night, 30 % moving", still=(), moving=0.3, **NIGHT, wanted=(0, 0, 0)),
    Scenario("tripod touched, day", still=(4,), wanted=(0.006, 0.012, 0)),
    Scenario("tripod touched, night", still=(4,), **NIGHT, wanted=(0.04, 0.08, 0)),
    Scenario("odd frames, day", frames=14, odd=ODD, wanted=(0.006, 0.012, 0)),
    Scenario("odd frames, night", frames=14, odd=ODD, **NIGHT, wanted=(0.04, 0.08, 0)),
    Scenario("odd frames, 30 % moving", frames=14, odd=ODD, moving=0.3, wanted=(0.006, 0.012, 0)),
)


def bent(local: LocalCorrection, places: np.ndarray) -> np.ndarray:
    """Return places (N, 2) with the local correction added."""
    across, down = bilinear(local.x, places[:, 0]), bilinear(local.y, places[:, 1])
    shifts = [np.einsum("ny,yx,nx->n", down, shift, across) for shift in (local.dx, local.dy)]
    return places + np.stack(shifts, axis=1)


@dataclass
class Figures:
    """What came of the bursts of one scenario."""

    errors: list[float] = field(default_factory=list)
    bounds: list[float] = field(default_factory=list)
    told: list[float] = field(default_factory=list)  # error by the error that was told
    cpu_s: list[float] = field(default_factory=list)
    models: list[str] = field(default_factory=list)
    good: int = 0
    refused: int = 0
    bad: int = 0
    accepted: int = 0
    identities: int = 0
    gave_up: int = 0

    def add(self, burst: SimulatedBurst, motion: BurstMotion) -> None:
        """Take in one burst."""
        self.models.append(motion.motion_model)
        ys, xs = np.nonzero(burst.static)
        chosen = np.random.default_rng(0).choice(len(xs), min(2000, len(xs)), replace=False)
        points = np.stack([xs[chosen], ys[chosen]], axis=1)
        for number, frame in enumerate(motion.frames):
            if number == motion.reference:
                continue
            if number in burst.scenario.odd:
                self.bad += 1
                self.accepted += frame.used
                continue
            self.good += 1
            self.refused += not frame.used
            self.identities += is_identity(frame.to_reference)
            if frame.used:
                places = apply(frame.to_reference, points)
                if frame.local:
                    places = bent(frame.local, places)
                apart = places - burst.true_places(number, points)
                error = float(np.sqrt(np.mean(np.sum(apart**2, axis=1))))
                self.errors.append(error)
                if frame.residual_px:
                    self.told.append(error / frame.residual_px)

    def line(self, scenario: Scenario) -> str:
        """Return the scenario's line of the table."""
        if not self.errors:
            return f"{scenario.name:28} gave up on {self.gave_up} bursts"
        errors = np.array(self.errors)
        wanted = scenario.wanted or (0, 0, 0)
        verdicts = f"{self.refused}/{self.good}"
        if self.bad:
            verdicts += f", {self.accepted}/{self.bad}"
        told = f"{np.median(self.told):6.1f}" if self.told else f"{'-':>6}"
        still = f" identity {self.identities}/{self.good}" if scenario.still == () else ""
        given_up = f" gave up on {self.gave_up}" if self.gave_up else ""
        return (
            f"{scenario.name:28}{np.median(errors):8.4f}{wanted[0]:7.3f}"
            f"{np.percentile(errors, 95):8.4f}{wanted[1]:7.3f}{np.mean(self.bounds):8.4f}"
            f"{told}{int((errors > LOST_PX).sum()):5d}  {verdicts:12}"
            f"{1000 * np.mean(self.cpu_s):6.0f}"
            f"  {max(set(self.models), key=self.models.count)}{still}{given_up}"
        )


def bound_of(burst: SimulatedBurst, seed: int, stills: list[Path]) -> float:
    """Return the Cramer-Rao bound of a homography between two frames of a burst, px."""
    scenario, size = burst.scenario, burst.static.shape[::-1]
    clean = simulate(
        dataclasses.replace(scenario, frames=1, odd={}), size, seed, stills, noise=False
    )
    light = clean.frames[0]
    weights = np.array(LUMINANCE, np.float32)
    variance = np.maximum(light, 0) / scenario.full_well_e
    variance += (scenario.read_noise_e / scenario.full_well_e) ** 2
    slope_y, slope_x = np.gradient(light @ weights)
    share = burst.static / (2 * (variance @ weights**2))
    geometry = Frame(size)
    information = np.zeros((8, 8))
    for row in range(size[1]):
        points = np.stack([np.arange(size[0]), np.full(size[0], row)], axis=1).astype(float)
        slopes = np.stack([slope_x[row], slope_y[row]], axis=1)
        change = np.einsum("ni,nip->np", slopes, geometry.jacobian(points))
        information += (change * share[row][:, None]).T @ change
    return geometry.rms_error(information)


def measure(scenario: Scenario, size: tuple[int, int], bursts: int, stills: list[Path]) -> Figures:
    """Return the figures of some bursts of a scenario."""
    figures = Figures()
    for seed in range(1, bursts + 1):
        burst = simulate(scenario, size, seed, stills)
        figures.bounds.append(bound_of(burst, seed, stills))
        begun = time.process_time()
        try:
            motion = register_frames(burst.frames.__getitem__, len(burst.frames), reference=0)
        except BurstError:
            figures.gave_up += 1
            continue
        figures.cpu_s.append((time.process_time() - begun) / len(burst.frames))
        figures.add(burst, motion)
    return figures


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="seconds instead of minutes")
    parser.add_argument("--bursts", type=int, default=3, help="bursts of each scenario")
    parser.add_argument("--stills", type=Path, help="folder of pictures to shake instead")
    parser.add_argument("--only", default="", help="scenarios whose names hold this word")
    parser.add_argument("--size", default="1500x1000", help="of the frames")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    width, height = map(int, options.size.split("x"))
    size, bursts, scenarios = (width, height), options.bursts, SCENARIOS
    if options.small:
        size, bursts = (480, 320), 1
        few = ("day, static", "night, static", "tripod, day")
        scenarios = tuple(
            dataclasses.replace(scenario, frames=4)
            for scenario in SCENARIOS
            if scenario.name in few
        )
    stills = sorted(options.stills.iterdir()) if options.stills else []
    print(f"{size[0]} x {size[1]}, {bursts} bursts each; errors in px, CPU in ms a frame")
    print(
        f"{'':28}{'median':>8}{'aim':>7}{'95 %':>8}{'aim':>7}{'bound':>8}{'/told':>6}{'lost':>5}"
        f"  {'refused':12}{'CPU':>6}  model"
    )
    for scenario in scenarios:
        if options.only in scenario.name:
            print(measure(scenario, size, bursts, stills).line(scenario), flush=True)
    print("/told: median of each error by residual_px, the error that was expected")
    print("refused: good frames of all good ones, then odd frames accepted of all odd ones")


if __name__ == "__main__":
    main()
