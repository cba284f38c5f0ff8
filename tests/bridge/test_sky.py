"""Light of stars in the gaps: against the sliding exposure, and where there must be none."""

from functools import cache

import numpy as np
import pytest

from stacker.bridge.base import Exposed
from stacker.bridge.sky import SkyBridge, bridge_sky
from stacker.errors import StackerError
from tests.benchmarks.simulated_skies import Light
from tests.benchmarks.star_trails import FAINT, bridged, figures
from tests.benchmarks.trailed_nights import Night, TrailedNight

USUAL = {"frames": 6, "stars": 50, "size": (480, 320), "hot_pixels": 30, "steps": 24}
# Smaller pictures and fewer frames than the benchmark's, and so fewer stars and worse figures:
# twice the aims of ripple and of darkness, and two hundredths of the fill.
RIPPLE, DARKEST, FILL = 0.08, 0.8, 0.96
# in percent of the trails' energy, the aim of the benchmark
FALSE_LIGHT = 0.05

Made = tuple[TrailedNight, list[Light], SkyBridge]


@cache
def made(**changes: object) -> Made:
    """Return a small night, its frames and its bridge."""
    night = {**USUAL, **changes}
    long = night.pop("long", None)
    burst = TrailedNight(Night("small", long_gaps=dict([long]) if long else {}, **night), 1)
    lights = burst.lights()
    return burst, lights, bridge_sky(lights.__getitem__, burst.exposed)


def laid(lights: list[Light], bridge: SkyBridge) -> Light:
    """Return the light of all gaps alone."""
    dark = [np.zeros_like(lights[0])]
    total = dark[0]
    for number in range(len(lights) - 1):
        for patch in bridge.between(number, lights[number], lights[number + 1]):
            height, width = patch.confidence.shape
            there = total[patch.top : patch.top + height, patch.left : patch.left + width]
            np.maximum(there, patch.light, out=there)
    return total


@pytest.mark.parametrize(
    "changes",
    [
        {"gap": 0.0},
        {"gap": 0.2, "long": (1, 10.0)},
        {"gap": 1.0, "focal_widths": 50 / 36, "pole_px": (0.5, -2.5), "shutter_s": 90.0},
    ],
    ids=["no gap", "a battery changed", "as long as the shutter, pole outside"],
)
def test_trails_come_near_the_sliding_exposure(changes):
    burst, lights, bridge = made(**changes)
    plain = np.max(lights, axis=0)
    before = figures(plain, plain, burst)
    after = figures(bridged(lights, bridge), plain, burst)
    assert before.ripple > 0.12  # there is something to mend
    assert after.ripple < RIPPLE
    assert after.darkest > DARKEST
    assert after.fill > FILL
    assert after.false < FALSE_LIGHT
    assert after.kept > 99.9
    assert all(verdict.bridged for verdict in bridge.gaps)


def test_faint_stars_are_bridged_too():
    burst, lights, bridge = made(strengths=FAINT)
    plain = np.max(lights, axis=0)
    after = figures(bridged(lights, bridge), plain, burst)
    assert after.fill > 0.75  # the aim: noise hides some of the faintest
    assert after.false < FALSE_LIGHT


def test_two_frames_are_enough():
    burst, lights, bridge = made(frames=2, stars=120)
    plain = np.max(lights, axis=0)
    after = figures(bridged(lights, bridge), plain, burst)
    # two frames tell less of lens and pole, and a star that one of them hides is not known
    assert after.fill > 0.9
    assert after.false < FALSE_LIGHT


def test_what_stands_still_gets_no_light():
    burst, lights, bridge = made(gap=0.2, long=(2, 10.0))
    light = laid(lights, bridge)
    assert (light > 0).any()
    # two pixels of the edge are half ground, half sky
    ground = burst.sky.ground & np.roll(burst.sky.ground, 2, axis=0)
    assert not light[ground].any()
    plain, after = np.max(lights, axis=0), bridged(lights, bridge)
    bright = burst.sky.hot[burst.sky.hot_light.max(axis=1) > 0.1]
    assert len(bright) > 10
    x, y = bright.T
    np.testing.assert_array_equal(after[y, x], plain[y, x])


@pytest.mark.parametrize("hot", [0, 300])
def test_a_still_noisy_burst_gets_nothing(hot):
    _, lights, bridge = made(strengths=(1e-4, 2e-4), hot_pixels=hot)
    assert not laid(lights, bridge).any()
    assert all(bridge.between(n, lights[n], lights[n + 1]) == [] for n in range(len(lights) - 1))
    assert not any(verdict.bridged for verdict in bridge.gaps)
    assert all(verdict.why for verdict in bridge.gaps)
    assert bridge.carried(np.zeros((1, 2)), 0, 1) is None


def test_one_frame_has_no_gaps():
    bridge = bridge_sky(lambda number: np.zeros((90, 120, 3), np.float32), [Exposed(0.0, 30.0)])
    assert list(bridge.gaps) == []


def test_time_runs_either_way():
    burst, lights, bridge = made()
    end = burst.exposed[-1].end_s
    back = [Exposed(end - each.end_s, each.shutter_s) for each in reversed(burst.exposed)]
    turned = list(reversed(lights))
    other = bridge_sky(turned.__getitem__, back)
    one, two = laid(lights, bridge), laid(turned, other)
    both = (one > 0) & (two > 0)
    # the look starts from another frame, and lights differ by a few percent of the faintest star's
    assert np.percentile(np.abs(one - two)[both], 99) < 0.01
    assert both.sum() > 0.9 * max((one > 0).sum(), (two > 0).sum())


def test_points_are_carried_with_the_sky():
    burst, _, bridge = made()
    middles = np.array(burst.night.first_steps) + burst.night.steps / 2
    here, there = burst.place(middles[1]), burst.place(middles[3])
    inside = ((here > 0) & (here < burst.night.size) & (there > 0)).all(axis=1)
    found = bridge.carried(here[inside], 1, 3)
    assert found is not None
    # two frames and 15 px on; the lens is known from fifty stars
    assert np.abs(found - there[inside]).max() < 0.3


def test_any_number_of_workers_gives_the_same():
    burst, lights, bridge = made()
    other = bridge_sky(lights.__getitem__, burst.exposed, workers=3)
    np.testing.assert_array_equal(laid(lights, bridge), laid(lights, other))


def test_confidence_tells_bright_from_faint():
    def usual(**changes: object) -> float:
        _, lights, bridge = made(**changes)
        sure = np.concatenate(
            [
                patch.confidence[patch.light.any(axis=-1)]
                for patch in bridge.between(2, lights[2], lights[3])
            ]
        )
        assert ((sure >= 0) & (sure <= 1)).all()
        return float(np.median(sure))

    assert usual() > usual(strengths=FAINT) > 0


def test_a_moved_camera_is_not_bridged_over():
    burst, lights, _ = made()
    moved = [*lights[:3], *(np.roll(each, (9, 14), (0, 1)) for each in lights[3:])]
    bridge = bridge_sky(moved.__getitem__, burst.exposed)
    assert not bridge.gaps[2].bridged
    assert bridge.between(2, moved[2], moved[3]) == []


def test_whoever_gives_up_ends_the_look():
    burst, lights, _ = made()
    asked = []

    class EnoughError(StackerError):
        pass

    def stop(done: int, count: int) -> None:
        asked.append(done)
        raise EnoughError("", "", code="")

    with pytest.raises(EnoughError):
        bridge_sky(lights.__getitem__, burst.exposed, on_frame=stop)
    assert asked == [1]


def test_rounded_stamps_do_no_harm():
    burst, lights, _ = made()
    rounded = [Exposed(float(np.floor(e.start_s / 10) * 10), e.shutter_s) for e in burst.exposed]
    bridge = bridge_sky(lights.__getitem__, rounded)
    plain = np.max(lights, axis=0)
    after = figures(bridged(lights, bridge), plain, burst)
    assert after.fill > FILL
