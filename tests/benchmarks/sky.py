"""Accuracy of holding the stars, on simulated skies with exact truth and on the stars scene.

    python -m tests.benchmarks.sky                 all scenarios, four bursts of each
    python -m tests.benchmarks.sky --small         a few small ones, in seconds
    python -m tests.benchmarks.sky --only few      scenarios whose names hold a word

Errors are root mean square distances, in pixels, over the sky that a frame shares with the
reference, between where the found motion (with its local correction) and the true one take the
frame's pixels; one figure for each frame but the reference.
"""

from __future__ import annotations

import argparse
import dataclasses
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np

from stacker.errors import BurstError
from stacker.light.encoding import LightArray
from stacker.register.geometry import apply
from stacker.register.motion import BurstMotion
from stacker.register.sky.burst import register_sky
from tests.benchmarks.simulated_skies import Sky, SkyScenario
from tests.benchmarks.stars_scene import StarsBurst

FAR = {"focal_widths": 50 / 36, "pole_px": (0.5, -3.0), "wanted": (0.05, 0.09)}
STRONG = {"distortion": (-0.08,), "interval_s": 180.0, "wanted": (0.05, 0.09)}
# a bright sky with a haze: ten to twenty stars
FEW = {
    "zero_light": 2.0, "sky": 0.06, "faintest": 5.0, "hot_pixels": 150, "wanted": (0.2, 0.5),
}  # fmt: skip
ODD = {2: "clouded", 4: "trailed", 6: "away", 8: "bumped"}
BAD = ("clouded", "overcast", "trailed", "away")

SCENARIOS = (
    SkyScenario("wide field"),
    SkyScenario("wide field, sharp", width_px=1.2),
    SkyScenario("wide field, soft", width_px=2.5),
    SkyScenario("wide field, trails of 3 px", shutter_s=60.0, interval_s=62.0),
    SkyScenario("wide field, three hours", interval_s=900.0),
    SkyScenario("wide field, six frames in six hours", frames=6, interval_s=4320.0),
    SkyScenario("wide field, no clock", clock="none"),
    SkyScenario("wide field, whole seconds", interval_s=20.3, clock="rounded"),
    SkyScenario("clouds over a third, plane", clouds=0.33, plane=True),
    SkyScenario("tripod touched", touched=(5,)),
    SkyScenario("odd frames", odd=ODD),
    SkyScenario("far from the pole", **FAR),
    SkyScenario("far, clouds, plane", **FAR, clouds=0.33, plane=True),
    SkyScenario("far, 135 mm", **{**FAR, "focal_widths": 135 / 36, "pole_px": (0.5, -9.0)}),
    SkyScenario("far, short burst", **{**FAR, "interval_s": 10.0}),
    SkyScenario("strong distortion", **STRONG),
    SkyScenario("strong, far, off axis", **{**STRONG, "pole_px": (0.5, -1.5)},
                centre_off_px=(14.0, -9.0)),
    SkyScenario("strong, pincushion", **{**STRONG, "distortion": (0.06, -0.01)}),
    SkyScenario("few stars", **FEW),
    SkyScenario("few stars, far from the pole", **{**FAR, **FEW}),
    SkyScenario("few stars, no clock, plane", **FEW, clock="none", plane=True),
    SkyScenario("few stars, touched", **FEW, touched=(5,)),
    SkyScenario("no stars, hot pixels", zero_light=0.0, hot_pixels=150, refused=True),
    SkyScenario("all cloud", odd=dict.fromkeys(range(12), "overcast"), refused=True),
)  # fmt: skip
FOCAL_ERROR = (0.93, 1.07, None, 1.0)


@dataclass
class Figures:
    """What came of the bursts of one scenario."""

    errors: list[float] = field(default_factory=list)
    said: list[float] = field(default_factory=list)
    good: int = 0
    refused: int = 0
    bad: int = 0
    accepted: int = 0
    bursts: int = 0
    gave_up: int = 0
    finding_s: list[float] = field(default_factory=list)
    whole_s: list[float] = field(default_factory=list)
    why: set[str] = field(default_factory=set)

    def add(self, burst: Sky | StarsBurst, motion: BurstMotion, odd: dict[int, str]) -> None:
        """Take in one burst."""
        for number, frame in enumerate(motion.frames):
            if frame.why:
                self.why.add(frame.why)
            if odd.get(number) in BAD:
                self.bad += 1
                self.accepted += frame.used
                continue
            if number == motion.reference:
                continue
            self.good += 1
            self.refused += not frame.used
            points = burst.sky_points(number, motion.reference)
            if not frame.used or len(points) == 0:
                continue
            led = apply(frame.to_reference, points)
            if frame.local is not None:
                led = led + frame.local.at_points(led)
            apart = led - burst.to_reference(points, number, motion.reference)
            self.errors.append(float(np.sqrt(np.mean(np.sum(apart**2, axis=1)))))
            self.said.append(frame.residual_px)

    def line(self, name: str, wanted: tuple[float, float], refused: bool) -> str:
        """Return the scenario's line of the table."""
        if not self.errors:
            asked = "as it should" if refused else "WRONGLY"
            return f"{name:36} refused {self.gave_up} of {self.bursts} bursts, {asked}"
        errors = np.array(self.errors)
        verdicts = f"{self.refused}/{self.good}" + (
            f", {self.accepted}/{self.bad}" if self.bad else ""
        )
        given_up = f"  gave up on {self.gave_up}" if self.gave_up else ""
        return (
            f"{name:36}{np.median(errors):8.4f}{wanted[0]:6.2f}{np.percentile(errors, 95):8.4f}"
            f"{wanted[1]:6.2f}{errors.max():8.3f}{np.median(self.said):8.4f}"
            f"  {verdicts:12}{1000 * np.mean(self.whole_s):6.0f}{given_up}"
        )


def measure(
    bursts: Sequence[Sky | StarsBurst], frames: Callable[[Sky | StarsBurst], list[LightArray]],
    odd: dict[int, str],
) -> Figures:  # fmt: skip
    """Return the figures of some bursts."""
    figures = Figures()
    for number, burst in enumerate(bursts):
        lights = frames(burst)
        wrong = FOCAL_ERROR[number % len(FOCAL_ERROR)]
        begun = time.process_time()
        figures.bursts += 1
        try:
            motion = register_sky(
                lights.__getitem__, len(lights), size=burst.size, starts_s=burst.clock,
                focal_px=None if wrong is None else wrong * burst.focal,
            )  # fmt: skip
        except BurstError as error:
            figures.gave_up += 1
            figures.why.add(str(error))
            continue
        figures.whole_s.append((time.process_time() - begun) / len(lights))
        figures.add(burst, motion, odd)
    return figures


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--small", action="store_true", help="seconds instead of minutes")
    parser.add_argument("--bursts", type=int, default=4, help="bursts of each scenario")
    parser.add_argument("--only", default="", help="scenarios whose names hold this word")
    parser.add_argument("--why", action="store_true", help="print the reasons given")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    size, count, scenarios = (1500, 1000), options.bursts, SCENARIOS
    if options.small:
        size, count = (600, 400), 1
        few = ("wide field", "strong distortion")
        scenarios = tuple(
            dataclasses.replace(each, frames=5) for each in SCENARIOS if each.name in few
        )
    print(f"{size[0]} x {size[1]}, {count} bursts each; errors in px, CPU in ms a frame")
    print(
        f"{'':36}{'median':>8}{'aim':>6}{'95 %':>8}{'aim':>6}{'worst':>8}{'said':>8}"
        f"  {'refused':12}{'CPU':>6}"
    )
    for each in scenarios:
        if options.only not in each.name:
            continue
        bursts = [Sky(each, size, seed) for seed in range(1, count + 1)]
        figures = measure(bursts, Sky.lights, each.odd)
        print(figures.line(each.name, each.wanted, each.refused), flush=True)
        for why in sorted(figures.why) if options.why else ():
            print("    ", why)
    if options.only in "stars scene" and not options.small:
        scenes = [StarsBurst(seed) for seed in range(1, count + 1)]
        figures = measure(scenes, StarsBurst.frames, {})
        print(figures.line("stars scene", (0.03, 0.05), False))
    print("refused: good frames of all good ones, then odd frames accepted of all odd ones")


if __name__ == "__main__":
    main()
