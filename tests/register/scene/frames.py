"""Small simulated bursts for the tests of holding the ground."""

import dataclasses
from functools import cache

import numpy as np

from stacker.register import BurstMotion, register_frames
from stacker.register.geometry import rms_difference
from tests.benchmarks.simulated_bursts import Scenario, SimulatedBurst, simulate

SIZE = (480, 320)
# a signal-to-noise ratio of about 3 in the mid tones
NIGHT = {"exposure": 0.2, "full_well_e": 150.0, "read_noise_e": 2.0}


@cache
def burst_of(name: str, seed: int = 1) -> SimulatedBurst:
    """Return a burst by the name of its scenario; made once."""
    return simulate(SCENARIOS[name], SIZE, seed)


def register(burst: SimulatedBurst, **choices) -> BurstMotion:
    """Register a burst to its first frame unless told otherwise."""
    choices = {"reference": 0, **choices}
    return register_frames(burst.frames.__getitem__, len(burst.frames), **choices)


def errors(burst: SimulatedBurst, motion: BurstMotion) -> np.ndarray:
    """Return how far each frame is off over what stands still, px; first frame the reference."""
    ys, xs = np.nonzero(burst.static)
    points = np.stack([xs, ys], axis=1)[::29]
    return np.array(
        [
            rms_difference(frame.to_reference, truth, points)
            for frame, truth in zip(motion.frames, burst.to_reference, strict=True)
        ]
    )


_DAY = Scenario("day", frames=5)
ODD = {1: "black", 3: "flash", 5: "blur", 7: "focus", 9: "elsewhere", 11: "covered"}
# none of them among the five that are looked at before the pass: 0, 2, 4, 6, 8
ODD_STILL = {1: "blur", 3: "focus", 5: "elsewhere", 7: "covered"}
SCENARIOS = {
    "day": _DAY,
    "drift": dataclasses.replace(_DAY, drift_ev=1.0),
    "movers": dataclasses.replace(_DAY, moving=0.3),
    "water": dataclasses.replace(_DAY, water=0.5),
    "night": dataclasses.replace(_DAY, **NIGHT),
    "tripod": dataclasses.replace(_DAY, still=(), moving=0.2),
    "tripod night": dataclasses.replace(_DAY, frames=6, still=(), **NIGHT),
    "long tripod": dataclasses.replace(_DAY, frames=9, still=()),
    "odd tripod": dataclasses.replace(_DAY, frames=9, still=(), odd=ODD_STILL),
    "odd tripod night": dataclasses.replace(_DAY, frames=9, still=(), odd=ODD_STILL, **NIGHT),
    "touched": dataclasses.replace(_DAY, frames=6, still=(3,)),
    "odd": dataclasses.replace(_DAY, frames=13, degrees=0.5, odd=ODD),
    "odd night": dataclasses.replace(_DAY, frames=13, degrees=0.5, odd=ODD, **NIGHT),
}
