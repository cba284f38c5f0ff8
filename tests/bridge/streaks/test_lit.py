"""The sparks of a shell are told apart by their flight, and their light in a gap is given back."""

from functools import cache

import numpy as np
import pytest

from stacker.bridge.base import Exposed
from stacker.bridge.streaks.background import Background
from stacker.bridge.streaks.detect import find_streaks
from stacker.bridge.streaks.embers_fit import not_negative
from stacker.bridge.streaks.flight import Flight
from stacker.bridge.streaks.lit import lit_shells, patch_of
from stacker.scenes.streaks import LampLayer

SIZE = (300, 260)
NOISE = 0.0006
BURST = np.array([150.0, 110.0])
COLOUR = np.array([0.5, 1.0, 0.3])
COUNT, FALL, STEPS = 50, 40.0, 300


def linear(age, drag=1.9):
    """Return the way of a unit of speed under air that slows by a share of it."""
    return (1 - np.exp(-drag * age)) / drag


def quadratic(age, drag=4.0):
    """Return the way of a unit of speed under air that slows by its square."""
    return np.log1p(drag * age) / drag


def light_of(flown, first, last, opens=0.3, seed=3):
    """Return light without noise of an exposure, (H, W, 3), a shutter of one second."""
    rng = np.random.default_rng(seed)
    direction = rng.standard_normal((COUNT, 3))
    speeds = 190 * (direction / np.linalg.norm(direction, axis=1, keepdims=True))[:, :2]
    powers = rng.uniform(40, 90, COUNT)
    layer = LampLayer(*SIZE, margin=12)
    ages = first + (np.arange(STEPS) + 0.5) * (last - first) / STEPS - opens
    ages = ages[ages > 0]
    fallen = np.outer(ages**2, [0, FALL / 4])
    places = BURST + speeds[:, None] * flown(ages)[None, :, None] + fallen
    energy = np.outer(powers, np.exp(-ages))[..., None] * COLOUR / STEPS * (last - first)
    layer.add(*places.reshape(-1, 2).T, energy.reshape(-1, 3))
    return np.minimum(layer.spread(0.9), 1).astype(np.float32)


@cache
def gap_of(flown, gap_s=0.3):
    """Return what is found in a gap: shells, both frames, background, and the plain lighten."""
    rng = np.random.default_rng(5)
    exposed = (Exposed(0.0, 1.0), Exposed(1 + gap_s, 1.0))
    frames = [light_of(flown, e.start_s, e.end_s) for e in exposed]
    frames = [f + NOISE * rng.standard_normal(f.shape, np.float32) for f in frames]
    still = np.zeros((SIZE[1], SIZE[0], 3), np.float16)
    unrest = np.full(still.shape[:2], NOISE / np.sqrt(3), np.float16)
    background = Background(still, unrest)
    streaks = [find_streaks(frame, background, None, None) for frame in frames]
    shells = lit_shells(tuple(streaks), tuple(frames), background, exposed)
    return shells, frames, background, streaks, exposed


@pytest.mark.parametrize("flown", [linear, quadratic])
def test_light_of_a_gap_is_that_of_exposures_within_it(flown):
    shells, frames, background, *_ = gap_of(flown)
    (shell,) = shells
    # places are told by pixels of both frames, that of the burst by the ways of all
    np.testing.assert_allclose(shell.sparks.flight.centre, BURST, atol=4)
    patch = patch_of(shell, *frames, background)
    plain = np.maximum(*frames)
    out = plain.copy()
    part = out[patch.top :, patch.left :][: patch.light.shape[0], : patch.light.shape[1]]
    np.maximum(part, patch.light, out=part)
    truth = np.max([light_of(flown, t, t + 1) for t in np.linspace(0, 1.3, 8)], axis=0)
    needs = (truth.mean(axis=2) > 0.03) & (plain.mean(axis=2) < 0.8 * truth.mean(axis=2))
    ratio = out.mean(axis=2)[needs] / truth.mean(axis=2)[needs]
    # without the bridge none is; the feet of streaks count like their middles, and where sparks
    # end or cross some are not reached
    assert needs.sum() > 100
    assert np.mean(np.abs(ratio - 1) < 0.15) > 0.6
    # light beyond the truth: 3.2 % measured, noise of dark pixels among it
    assert np.maximum(out - np.maximum(truth, plain), 0).sum() < 0.05 * truth.sum()


def test_a_mirrored_frame_goes_on_as_nothing():
    _, frames, background, streaks, exposed = gap_of(linear)
    mirrored = np.ascontiguousarray(frames[1][::-1])
    other = find_streaks(mirrored, background, None, None)
    assert lit_shells((streaks[0], other), (frames[0], mirrored), background, exposed) == []


def test_places_and_speeds_are_each_others_inverse():
    flight = Flight(BURST, 0.6, 1.7, 30.0, 0.5)
    speeds = np.random.default_rng(1).normal(0, 100, (9, 2))
    places = flight.places(speeds, np.array([flight.later]))[:, 0]
    np.testing.assert_allclose(flight.speeds(places.copy(), flight.later), speeds)
    twice = flight.magnified(2.0).places(2 * speeds, np.array([flight.later]))[:, 0]
    # pixel centres are at whole numbers
    np.testing.assert_allclose(twice, (places + 0.5) * 2 - 0.5)


def test_powers_are_never_below_zero():
    """The known answer of a small problem whose free solution has a negative value."""
    matrix, side = np.array([[2.0, 1.0], [1.0, 2.0]]), np.array([2.0, 0.0])
    np.testing.assert_allclose(not_negative(matrix, side, np.zeros(2)), [1.0, 0.0])
