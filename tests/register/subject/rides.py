"""Small simulated rides for the tests of holding a subject."""

from functools import cache

from stacker.register import BurstMotion
from stacker.register.subject import register_subject
from tests.benchmarks.moving_subjects import DUSK, Ride, SimulatedRide, simulate_ride

SIZE = (480, 320)
_SMALL = {"frames": 7, "subject_px": (90, 56)}
FAST = {"pan_px": 0.0, "step_px": (55.0, 3.0), "start": (0.15, 0.5)}
RIDES = {
    "pan": Ride("pan", **_SMALL),
    "fast pan": Ride("fast pan", pan_px=150, **_SMALL),
    "fast subject": Ride("fast subject", **FAST, **_SMALL),
    "drift": Ride("drift", drift_ev=1.0, **_SMALL),
    "dusk": Ride("dusk", light=DUSK, **_SMALL),
    "grows": Ride("grows", scale=1.25, **_SMALL),
    "shrinks": Ride("shrinks", scale=0.8, **_SMALL),
    "turns": Ride("turns", turn_deg=10, **_SMALL),
    "loose box": Ride("loose box", room=1.5, **_SMALL),
    "stands": Ride("stands", sway_px=0, **_SMALL),
    "poles": Ride("poles", pole_px=30, **_SMALL),
    "hidden": Ride("hidden", hidden=(3,), **_SMALL),
    "away": Ride("away", away=(2, 3, 4), **_SMALL),
    "blurred": Ride("blurred", blurred=(4,), **_SMALL),
    "leaves": Ride("leaves", **{**FAST, "step_px": (95.0, 0.0)}, **_SMALL),
}


@cache
def ride_of(name: str) -> SimulatedRide:
    """Return a burst by the name of its ride; made once."""
    return simulate_ride(RIDES[name], SIZE, 1)


@cache
def held(name: str) -> BurstMotion:
    """Return what registration makes of it; made once."""
    return register(ride_of(name))


def register(burst: SimulatedRide, **choices) -> BurstMotion:
    """Register a burst to the subject in its box."""
    choices = {"box": burst.box, **choices}
    return register_subject(burst.frames.__getitem__, len(burst.frames), **choices)
