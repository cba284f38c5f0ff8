"""Bridging lamps that move: gaps are filled with what the lamp did, and nothing else."""

import numpy as np
import pytest

from stacker.bridge.base import Exposed
from stacker.bridge.streaks import bridge_streaks
from stacker.bridge.streaks.sweep import _falling
from tests.benchmarks import moving_lights
from tests.bridge.streaks.lamps import (
    NOISE,
    SIZE,
    STILL,
    Lamp,
    along,
    bridged,
    burst_of,
    sliding,
    straight,
)  # fmt: skip

# the share of the truth that the eye takes for whole; what remains is noise and curve fitting
ENOUGH = 0.15


def circle(t):
    angle = 0.25 * t - 1.2
    return np.stack([110 + 90 * np.sin(angle), 140 - 100 * np.cos(angle)], axis=1)


def slowing(t):
    return np.stack([15 + 150 * (1 - np.exp(-0.28 * t)), 30 + 6.0 * t], axis=1)


WAYS = {
    "straight": straight((15, 60), (26, 4)),
    "circle": circle,
    "slowing": slowing,
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("gap_s", [0.0, 0.2, 1.0])
def test_a_trail_becomes_whole(way, gap_s):
    frames = 6 if gap_s < 1 else 4
    lamp = Lamp(WAYS[way])
    pictures, exposed = burst_of([lamp], frames, gap_s)
    bridge, out = bridged(pictures, exposed)
    assert [gap.bridged for gap in bridge.gaps] == [True] * (frames - 1)
    first, last = 0.3, exposed[-1].end_s - 0.3
    truth = along(sliding([lamp], frames, gap_s), lamp.place, first, last)
    plain = along(np.max(pictures, axis=0), lamp.place, first, last)
    found = along(out, lamp.place, first, last)
    # the plain blend shows the gaps, or this test could not fail
    assert (plain / truth).min() < 0.8
    near = np.abs(found / truth - 1) < ENOUGH
    assert near.mean() > 0.97
    # no bead at the joints
    assert np.percentile(found / truth, 1) > 0.8


def test_light_goes_only_where_the_lamp_went():
    lamp = Lamp(straight((15, 60), (26, 4)))
    pictures, exposed = burst_of([lamp], 4, 1.0)
    _, out = bridged(pictures, exposed)
    truth = sliding([lamp], 4, 1.0)
    added = out - np.max(pictures, axis=0)
    none = truth.max(axis=2) - STILL < 3 * NOISE
    assert added[none].sum() < 0.003 * (truth - STILL).sum()


@pytest.mark.parametrize("frames", [2, 3, 9])
def test_a_still_noisy_burst_gives_no_patch(frames):
    rng = np.random.default_rng(3)
    lamps = [Lamp(straight((30 + 40 * n, 50), (0, 0)), power=8.0) for n in range(4)]
    pictures, exposed = burst_of(lamps, frames, 0.2, seed=int(rng.integers(99)))
    bridge, _ = bridged(pictures, exposed)
    assert all(bridge.between(n, *pictures[n : n + 2]) == [] for n in range(frames - 1))
    assert not any(gap.bridged for gap in bridge.gaps)
    assert all(gap.why for gap in bridge.gaps)


def test_a_lamp_that_flickers_or_sways_is_no_streak():
    def swaying(t):
        return np.stack([60 + 1.5 * np.sin(9 * t), np.full(t.size, 60.0)], axis=1)

    flickering = Lamp(straight((150, 60), (0, 0)), power=20, on=lambda t: (t * 1.7) % 1 < 0.5)
    pictures, exposed = burst_of([Lamp(swaying, power=20), flickering], 6, 0.2)
    bridge, _ = bridged(pictures, exposed)
    assert bridge.links == ((),) * 5


def test_a_lamp_that_goes_is_not_the_one_that_comes():
    """One leaves the first half of the burst, another comes from elsewhere in the other."""
    first = Lamp(straight((15, 30), (25, 0)), on=lambda t: t < 2.2)
    second = Lamp(straight((150, 100), (-25, -3)), on=lambda t: t >= 2.4)
    pictures, exposed = burst_of([first, second], 4, 0.2)
    bridge, _ = bridged(pictures, exposed)
    assert [len(links) for links in bridge.links] == [1, 0, 1]


def test_a_pair_of_lamps_is_not_bridged_sideways():
    lamps = [Lamp(straight((15, 60 + off), (12, 1.5))) for off in (0, 6)]
    pictures, exposed = burst_of(lamps, 6, 1.0)
    bridge, _ = bridged(pictures, exposed)
    for n, links in enumerate(bridge.links):
        for link in links:
            leaves = bridge.streaks[n][link.earlier].ends[link.earlier_end].place
            comes = bridge.streaks[n + 1][link.later].ends[link.later_end].place
            # both keep to one of the two parallel ways
            off = comes - leaves
            assert abs(off[1] - off[0] / 8) < 2
    assert sum(map(len, bridge.links)) >= 8


def test_another_colour_is_another_lamp():
    red = Lamp(straight((15, 60), (25, 0)), colour=(1, 0.05, 0.02), on=lambda t: t < 1.1)
    white = Lamp(straight((15, 60), (25, 0)), on=lambda t: t >= 1.1)
    pictures, exposed = burst_of([red, white], 2, 0.2)
    bridge, _ = bridged(pictures, exposed)
    assert bridge.links == ((),)


def test_a_light_that_blinks_keeps_its_dashes():
    lamp = Lamp(straight((10, 60), (60, 6)), power=90, on=lambda t: t % 0.25 < 0.125)
    pictures, exposed = burst_of([lamp], 3, 0.2)
    bridge, _ = bridged(pictures, exposed)
    assert bridge.links == ((),) * 2


def test_stars_are_left_to_the_sky():
    lamps = [Lamp(straight((15, 30), (20, 3))), Lamp(straight((200, 90), (-24, 2)))]
    pictures, exposed = burst_of(lamps, 4, 0.2)

    def sky(i, j, points):
        return points + np.array([20.0, 3.0]) * (exposed[j].start_s - exposed[i].start_s)

    bridge, _ = bridged(pictures, exposed, sky=sky)
    assert [len(links) for links in bridge.links] == [1, 1, 1]
    assert all(found.ends[0].place[1] > 60 for frame in bridge.streaks for found in frame)


def test_patches_keep_the_protocol():
    pictures, exposed = burst_of([Lamp(WAYS["circle"])], 4, 1.0)
    bridge, _ = bridged(pictures, exposed)
    before = [picture.copy() for picture in pictures]
    patches = bridge.between(1, pictures[1], pictures[2])
    assert bridge.joins == "greater"
    assert patches
    for patch in patches:
        h, w = patch.confidence.shape
        assert patch.light.shape == (h, w, 3)
        assert patch.light.dtype == patch.confidence.dtype == np.float32
        assert 0 <= patch.top <= SIZE[1] - h
        assert 0 <= patch.left <= SIZE[0] - w
        assert 0 <= patch.confidence.min() <= patch.confidence.max() <= 1
        assert (patch.light[patch.confidence == 0] == 0).all()
    for one, two in zip(before, pictures, strict=True):
        np.testing.assert_array_equal(one, two)
    again = bridge.between(1, pictures[1], pictures[2])
    for one, two in zip(patches, again, strict=True):
        np.testing.assert_array_equal(one.light, two.light)


@pytest.mark.parametrize("frames", [0, 1])
def test_too_few_frames_have_no_gap(frames):
    bridge = bridge_streaks(lambda n: np.zeros((8, 8, 3), np.float32), [Exposed(0, 1)] * frames)
    assert bridge.gaps == ()


def test_where_streaks_hide_a_clear_neighbour_leads_to_them():
    """Sparks from one place overlap in their first frame and are apart in the next."""
    turns = np.radians([-24, -16, -8, 0, 8, 16, 24])

    def flying(turn):
        return lambda t: (
            np.array([30.0, 60]) + np.outer(90 * (1 - np.exp(-t)), [np.cos(turn), np.sin(turn)])
        )

    lamps = [Lamp(flying(turn), power=40) for turn in turns]
    pictures, exposed = burst_of(lamps, 2, 0.2)
    bridge, _ = bridged(pictures, exposed)
    assert len(bridge.links[0]) >= 6
    assert all(link.earlier_end in (0, 1) for link in bridge.links[0])


def test_painted_glow_ends_without_an_edge():
    """A lamp that passes in the even glow of another one paints its own light only."""
    offsets = np.arange(-12, 12.1, 0.5)
    core = np.exp(-(offsets**2) / 4)
    section = _falling(np.repeat((core + 0.3)[:, None], 3, axis=1).astype(np.float32))
    assert section[[0, -1]].max() == 0
    assert section[len(section) // 2, 0] == pytest.approx(1.3, abs=0.01)
    # the core itself falls by 0.21 from one offset to the next
    assert np.abs(np.diff(section[:, 0])).max() < 0.3


def test_the_benchmark_runs_small(capsys):
    moving_lights.main(["--small"])
    assert "reached" in capsys.readouterr().out
