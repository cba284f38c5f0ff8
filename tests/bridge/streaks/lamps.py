"""Small simulated bursts of moving lamps: what frames of a dark, noisy place would show."""

import numpy as np

from stacker.bridge.base import Exposed
from stacker.bridge.streaks import StreakBridge, bridge_streaks
from stacker.scenes.streaks import LampLayer

SIZE = (220, 120)
NOISE = 0.002
STILL = 0.02
# sharper than a lens makes them, lamps would alias
SIGMA_PX = 1.2
STEPS = 400
WHITE = (1.0, 0.9, 0.7)


class Lamp:
    """A lamp: ``place`` (t) to (N, 2) px, its power per second, colour, and when it shines."""

    def __init__(self, place, power=60.0, colour=WHITE, on=lambda t: np.full(t.size, True)):
        self.place, self.power, self.colour, self.on = place, power, colour, on

    def lay(self, layer, t0, t1):
        t = t0 + (np.arange(STEPS) + 0.5) * (t1 - t0) / STEPS
        x, y = self.place(t).T
        energy = self.power * self.on(t)[:, None] * np.array(self.colour) / STEPS
        layer.add(x, y, energy)


def straight(start, speed):
    """Return the place of a lamp that keeps its speed (px a second)."""
    return lambda t: np.array(start, float) + np.outer(t, speed)


def light_of(lamps, t0, t1):
    """Return light without noise of one exposure, float32 (H, W, 3)."""
    layer = LampLayer(*SIZE, margin=12)
    for lamp in lamps:
        lamp.lay(layer, t0, t1)
    return np.minimum(STILL + layer.spread(SIGMA_PX), 1).astype(np.float32)


def burst_of(lamps, frames, gap_s, seed=0):
    """Return noisy frames of a shutter of one second, and when they were exposed."""
    rng = np.random.default_rng(seed)
    exposed = [Exposed(n * (1 + gap_s), 1.0) for n in range(frames)]
    pictures = [
        light_of(lamps, e.start_s, e.end_s)
        + NOISE * rng.standard_normal((SIZE[1], SIZE[0], 3), np.float32)
        for e in exposed
    ]
    return pictures, exposed


def sliding(lamps, frames, gap_s):
    """Return the greatest light of exposures of one second that begin at any time."""
    end = (frames - 1) * (1 + gap_s)
    return np.max([light_of(lamps, t, t + 1) for t in np.arange(0, end + 1e-6, 0.05)], axis=0)


def bridged(pictures, exposed, **more) -> tuple[StreakBridge, np.ndarray]:
    """Return the bridge and the lighten with all its patches."""
    bridge = bridge_streaks(lambda n: pictures[n], exposed, **more)
    out = np.max(pictures, axis=0)
    for n in range(len(pictures) - 1):
        for patch in bridge.between(n, pictures[n], pictures[n + 1]):
            h, w = patch.confidence.shape
            part = out[patch.top : patch.top + h, patch.left : patch.left + w]
            np.maximum(part, patch.light, out=part)
    return bridge, out


def along(picture, place, t0, t1):
    """Return the mean channel of a picture at the nearest pixels of a way."""
    x, y = np.rint(place(np.linspace(t0, t1, 300)).T).astype(int)
    return picture.mean(axis=2)[y, x] - STILL
