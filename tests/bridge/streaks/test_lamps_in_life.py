"""What lamps do beside going on: they stop, hide, turn off, leave, blink and double back."""

import cv2
import numpy as np
import pytest

from stacker.bridge.streaks.streak import measure
from stacker.light.srgb import linear_to_srgb, srgb_to_linear
from tests.bridge.streaks.lamps import (
    NOISE,
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
# of all light of trails: what is painted where there is none, and beyond what there is. Noise of
# the painted light alone makes 0.001
MOST_FALSE, MOST_OVER = 0.001, 0.003
PACE = 26.0


def beyond_truth(pictures, out, truth):
    """Return the light that patches lay where the truth has none, and all beyond it, as shares of
    the trails' light."""
    plain = np.max(pictures, axis=0)
    total = (truth - STILL).sum()
    none = truth.max(axis=2) - STILL < 3 * NOISE
    over = np.maximum(out - np.maximum(plain, truth), 0)[out > plain]
    return (out - plain)[none].sum() / total, over.sum() / total


def same_lamp(bridge, number, link):
    """Return how far a link leads to the side, px: lamps of these tests keep to their rows."""
    leaves = bridge.streaks[number][link.earlier].ends[link.earlier_end].place
    comes = bridge.streaks[number + 1][link.later].ends[link.later_end].place
    return abs(float(comes[1] - leaves[1]))


@pytest.mark.parametrize("gap_s", [0.0, 0.2, 1.0])
@pytest.mark.parametrize("stops_s", [2.6, 3.1])
def test_a_car_that_stops_has_no_line_beyond(gap_s, stops_s):
    def place(t):
        return straight((15, 60), (PACE, 4))(np.minimum(t, stops_s))

    pictures, exposed = burst_of([Lamp(place)], 7, gap_s)
    bridge, out = bridged(pictures, exposed)
    # while it goes it is bridged
    assert len(bridge.links[0]) == 1
    false, over = beyond_truth(pictures, out, sliding([Lamp(place)], 7, gap_s))
    assert false < MOST_FALSE
    # what is left of its last streak tells brightness to a twentieth
    assert over < 0.012
    # where it stands nothing is added
    x, y = np.rint(place(np.array([stops_s]))[0]).astype(int).tolist()
    added = out - np.max(pictures, axis=0)
    assert added[:, x + 6 :].max() == 0
    assert added[y - 1 : y + 2, x - 1 : x + 2].max() < ENOUGH * out[y, x].max()


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
def test_a_lamp_behind_a_post_is_one_lamp(gap_s):
    """The post, 6 px wide, stands in the second gap."""
    middle = 15 + PACE * (2 + 1.5 * gap_s)

    def on(t):
        return np.abs(15 + PACE * t - middle) > 3

    bridge, _ = bridged(*burst_of([Lamp(straight((15, 60), (PACE, 4)), on=on)], 4, gap_s))
    assert [len(links) for links in bridge.links] == [1, 1, 1]


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
@pytest.mark.parametrize("out_s", [0.3, 0.6])
@pytest.mark.parametrize(("ahead", "aside"), [(10, 0), (30, 0), (0, 5), (10, 8)])
def test_a_lamp_that_turned_off_is_not_another(gap_s, out_s, ahead, aside):
    """It goes out within the second frame; another in its row, or beside, comes in the third."""
    interval = 1 + gap_s
    first = Lamp(straight((15, 60), (PACE, 0)), on=lambda t: t < interval + out_s)
    second = Lamp(straight((15 + ahead, 60 + aside), (PACE, 0)), on=lambda t: t >= 2 * interval)
    bridge, _ = bridged(*burst_of([first, second], 4, gap_s))
    assert [len(links) for links in bridge.links] == [1, 0, 1]


@pytest.mark.parametrize("gap_s", [0.0, 0.2, 1.0])
@pytest.mark.parametrize("comes_from", [-70, 290])
def test_a_lamp_that_leaves_is_not_one_that_enters(gap_s, comes_from):
    """One leaves on the right while another enters on the left, or on the right in its own row."""
    leaving = Lamp(straight((150, 60), (35, 0)))
    entering = Lamp(straight((comes_from, 66), (35 if comes_from < 0 else -35, 0)))
    lamps = [leaving, entering]
    pictures, exposed = burst_of(lamps, 6, gap_s)
    bridge, out = bridged(pictures, exposed)
    linked = [same_lamp(bridge, n, link) for n, gap in enumerate(bridge.links) for link in gap]
    assert linked
    assert max(linked) < 2
    false, over = beyond_truth(pictures, out, sliding(lamps, 6, gap_s))
    assert false < MOST_FALSE
    assert over < MOST_OVER


def boat(speed):
    """Return a slow lamp and its reflection: glints that come and go under it."""
    rng = np.random.default_rng(4)

    def glint(row):
        a, b, c, d = rng.uniform(0, 2 * np.pi, 4)

        def place(t):
            x = 60 + speed * t + 2.5 * np.sin(5 * t + a) + 1.5 * np.sin(11 * t + b)
            return np.stack([x, 48 + 3.5 * row + 1.5 * np.sin(7 * t + c)], axis=1)

        return Lamp(place, power=8, on=lambda t: np.sin(13 * t + d) > 0.3)

    return [Lamp(straight((60, 40), (speed, 0)), power=25), *map(glint, range(12))]


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
def test_a_boat_is_bridged_and_its_reflection_draws_no_lines(gap_s):
    lamps = boat(8.0)
    pictures, exposed = burst_of(lamps, 5, gap_s)
    _, out = bridged(pictures, exposed)
    truth = sliding(lamps, 5, gap_s)
    first, last = 0.5, exposed[-1].end_s - 0.5
    lamp, plain, found = (
        along(picture, lamps[0].place, first, last)
        for picture in (truth, np.max(pictures, axis=0), out)
    )
    assert np.percentile(plain / lamp, 1) < 0.8
    near = np.abs(found / lamp - 1) < ENOUGH
    assert near.mean() > 0.95
    # glints of two frames may fit each other by chance, where there is light of others anyway
    false, over = beyond_truth(pictures, out, truth)
    assert false < 0.002
    assert over < 0.03


@pytest.mark.parametrize("gap_s", [0.0, 0.2, 1.0])
def test_a_lighthouse_is_left_as_it_is(gap_s):
    lamp = Lamp(straight((110, 60), (0, 0)), power=400, on=lambda t: t % 2.7 < 0.35)
    pictures, exposed = burst_of([lamp], 8, gap_s)
    _, out = bridged(pictures, exposed)
    np.testing.assert_array_equal(out, np.max(pictures, axis=0))


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
@pytest.mark.parametrize("apart", [0, 8])
def test_a_hand_that_doubles_back_in_a_gap_leaves_it_open(gap_s, apart):
    turns_s = 2.0 + 1.5 * gap_s

    def place(t):
        far = np.minimum(t, 2 * turns_s - t)
        return np.stack([15 + PACE * far, 60 + apart * np.clip(4 * (t - turns_s) + 0.5, 0, 1)], 1)

    lamp = Lamp(place)
    pictures, exposed = burst_of([lamp], 4, gap_s)
    bridge, out = bridged(pictures, exposed)
    assert [len(links) for links in bridge.links] == [1, 0, 1]
    false, over = beyond_truth(pictures, out, sliding([lamp], 4, gap_s))
    assert false < MOST_FALSE
    assert over < MOST_OVER


def through_jpeg(light):
    """Return the light after a JPEG of 8 bits, quality 95."""
    code = np.rint(255 * linear_to_srgb(np.clip(light, 0, 1))).astype(np.uint8)
    _, written = cv2.imencode(".jpg", code[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 95])
    read = cv2.imdecode(written, cv2.IMREAD_COLOR)[..., ::-1]
    return srgb_to_linear(read.astype(np.float32) / 255).astype(np.float32)


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
@pytest.mark.parametrize("power", [8, 60])
def test_jpegs_are_bridged_as_well(gap_s, power):
    """Of 16 bits and of JPEG as much of a trail is whole, but for a twentieth."""
    lamp = Lamp(straight((15, 60), (PACE, 4)), power=power)
    pictures, exposed = burst_of([lamp], 4, gap_s)
    truth = along(sliding([lamp], 4, gap_s), lamp.place, 0.3, exposed[-1].end_s - 0.3)
    whole = []
    for frames in (pictures, [through_jpeg(picture) for picture in pictures]):
        bridge, out = bridged(frames, exposed)
        assert [len(links) for links in bridge.links] == [1] * 3
        found = along(out, lamp.place, 0.3, exposed[-1].end_s - 0.3)
        whole.append((np.abs(found / truth - 1) < ENOUGH).mean())
    assert whole[0] > 0.95
    assert whole[1] > whole[0] - 0.05


def test_back_to_back_frames_have_no_ripple():
    lamp = Lamp(straight((15, 60), (PACE, 4)))
    pictures, exposed = burst_of([lamp], 6, 0.0)
    _, out = bridged(pictures, exposed)
    way = (lamp.place, 0.3, exposed[-1].end_s - 0.3)
    truth = along(sliding([lamp], 6, 0.0), *way)
    ratios = [along(picture, *way) / truth for picture in (np.max(pictures, axis=0), out)]
    plain, found = (float(ratio.std() / ratio.mean()) for ratio in ratios)
    # the plain blend has a notch at each joint; what is left is the noise of the frames
    assert plain > 0.08
    assert found < plain / 2


def test_glow_across_a_brighter_streak_is_no_streak():
    """A line across a bright streak has light of its own if it is even where it is seen."""
    size, corner = (120, 90), np.zeros(2, np.float32)
    line = np.stack([np.arange(40, 80), np.full(40, 45)], axis=1).astype(np.float32)
    y, x = np.mgrid[0:90, 0:120].astype(np.float32)
    bright = np.exp(-(((x - 60) / 1.5) ** 2))
    # a ridge of light that falls off from the bright streak, and one that does not
    ridge = 0.02 * np.exp(-(((y - 45) / 1.5) ** 2))
    fading, even = ridge * np.exp(-np.abs(x - 60) / 8) * 6, ridge * (np.abs(x - 60) < 25)
    found = [
        measure(line, np.repeat((bright + own)[..., None], 3, axis=2), 1.0, size, corner)
        for own in (fading, even)
    ]
    assert found[0] is None
    assert found[1] is not None
