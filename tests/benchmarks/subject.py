"""Accuracy and cost of holding a subject, on simulated rides with exact truth.

    python -m tests.benchmarks.subject                 all rides, five bursts of each
    python -m tests.benchmarks.subject --small         a few small ones, in seconds
    python -m tests.benchmarks.subject --only dusk     rides whose names hold a word

Errors are root mean square distances over the subject, in pixels, between where the found and the
true motion take a frame's pixels; over all frames used, and the worst burst's.
"""

from __future__ import annotations

import argparse
import dataclasses
import time
from dataclasses import dataclass, field

import cv2
import numpy as np

from stacker.errors import BurstError
from stacker.register import BurstMotion
from stacker.register.geometry import apply, invert
from stacker.register.subject import register_subject
from tests.benchmarks.moving_subjects import DUSK, NIGHT, Ride, SimulatedRide, simulate_ride

# a frame off by more than this was held to something else
LOST_PX = 1.0
FAST = {"pan_px": 0.0, "step_px": (70.0, 4.0), "start": (0.1, 0.5), "frames": 11}
RIDES = (
    Ride("pan"),
    Ride("fast pan", pan_px=150),
    Ride("pan, exposure drifts by 1 EV", drift_ev=1.0),
    Ride("fixed camera, 70 px a frame", **FAST),
    Ride("grows to 1.25", scale=1.25),
    Ride("shrinks to 0.8", scale=0.8),
    Ride("turns by 12 degrees", turn_deg=12),
    Ride("small subject", subject_px=(50, 30)),
    Ride("loose box, 60 % background", room=1.6),
    Ride("stands, background moves", sway_px=0),
    Ride("poles over a fifth of it", pole_px=16),
    Ride("poles half its width", pole_px=60),
    Ride("hidden and away", hidden=(3,), away=(6, 7, 8)),
    Ride("leaves the picture", **{**FAST, "step_px": (95.0, 0.0)}),
    Ride("blurred twice", blurred=(3, 8)),
    Ride("dusk, pan", light=DUSK),
    Ride("dusk, grows, poles", light=DUSK, scale=1.25, pole_px=16),
    Ride("night, pan", light=NIGHT),
)
SMALL = ("pan", "grows to 1.25", "hidden and away")


def errors_of(burst: SimulatedRide, motion: BurstMotion) -> np.ndarray:
    """Return how far each frame is off, px over the subject."""
    found = []
    for frame, truth in zip(motion.frames, burst.to_reference, strict=True):
        places = apply(invert(truth), burst.points)
        apart = apply(frame.to_reference, places) - burst.points
        found.append(float(np.sqrt(np.mean(np.sum(apart**2, axis=1)))))
    return np.array(found)


@dataclass
class Figures:
    """What came of the bursts of one ride."""

    errors: list[np.ndarray] = field(default_factory=list)
    likely: list[float] = field(default_factory=list)
    cpu_s: list[float] = field(default_factory=list)
    models: list[str] = field(default_factory=list)
    good: int = 0
    refused: int = 0
    bad: int = 0
    accepted: int = 0
    gave_up: int = 0

    def add(self, burst: SimulatedRide, motion: BurstMotion) -> None:
        """Take in one burst."""
        self.models.append(motion.motion_model)
        errors = errors_of(burst, motion)
        used = []
        for number, frame in enumerate(motion.frames):
            if number == motion.reference:
                continue
            if number in burst.without_subject():
                self.bad += 1
                self.accepted += frame.used
                continue
            self.good += 1
            self.refused += not frame.used
            if frame.used:
                used.append(errors[number])
                self.likely.append(frame.residual_px)
        self.errors.append(np.array(used))

    def line(self, ride: Ride) -> str:
        """Return the ride's line of the table."""
        if not self.errors:
            return f"{ride.name:30} gave up on {self.gave_up} bursts"
        each = np.concatenate(self.errors)
        held = each[each < LOST_PX]
        worst = max(float(np.sqrt(np.mean(np.square(e)))) for e in self.errors if len(e))
        given_up = f"  gave up on {self.gave_up}" if self.gave_up else ""
        return (
            f"{ride.name:30}{np.sqrt(np.mean(np.square(held))):8.4f}{worst:9.4f}"
            f"{np.median(self.likely):8.4f}{int((each >= LOST_PX).sum()):6d}"
            f"  {f'{self.refused}/{self.good}, {self.accepted}/{self.bad}':14}"
            f"{1000 * np.mean(self.cpu_s):6.0f}  {max(set(self.models), key=self.models.count)}"
            f" {self.models.count(max(set(self.models), key=self.models.count))}"
            f"/{len(self.models)}{given_up}"
        )


def measure(ride: Ride, size: tuple[int, int], bursts: int) -> Figures:
    """Return the figures of some bursts of a ride."""
    figures = Figures()
    for seed in range(1, bursts + 1):
        burst = simulate_ride(ride, size, seed)
        begun = time.process_time()
        try:
            motion = register_subject(burst.frames.__getitem__, len(burst.frames), box=burst.box)
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
    parser.add_argument("--bursts", type=int, default=5, help="bursts of each ride")
    parser.add_argument("--only", default="", help="rides whose names hold this word")
    options = parser.parse_args()
    cv2.setNumThreads(1)
    size, bursts, rides = (960, 540), options.bursts, RIDES
    if options.small:
        size, bursts = (480, 320), 1
        rides = tuple(dataclasses.replace(r, frames=9) for r in RIDES if r.name in SMALL)
    print(f"{size[0]} x {size[1]}, {bursts} bursts each; errors in px, CPU in ms a frame")
    print(
        f"{'':30}{'rms':>8}{'worst':>9}{'likely':>8}{'wrong':>6}  {'refused':14}{'CPU':>6}  model"
    )
    for ride in rides:
        if options.only in ride.name:
            print(measure(ride, size, bursts).line(ride), flush=True)
    print(
        f"rms: of frames within {LOST_PX:g} px; worst: burst, all frames used; wrong: frames used "
        "that are further off;\nrefused: frames that show the subject of all such, then frames "
        "accepted that do not of all such"
    )


if __name__ == "__main__":
    main()
