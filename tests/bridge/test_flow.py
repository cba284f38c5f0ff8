"""Textures in motion lose their steps under a mean, and nothing else is touched."""

import cv2
import numpy as np
import pytest

from stacker.bridge import Exposed
from stacker.bridge.flow import FlowBridge, bridge_flow

HEIGHT, WIDTH, FRAMES = 128, 192, 6
NOISE = 0.004
# frames of 0.02 s, five a second
EXPOSED = [Exposed(0.2 * number, 0.02) for number in range(FRAMES)]
TICKS_OF_FRAME, TICKS_OF_PERIOD = 3, 30
# rows from which on the picture moves
SHORE = 56


def soft(rng: np.random.Generator, height: int, width: int) -> np.ndarray:
    """Return texture of about 4 pixels, mean 0.3, float32 (height, width, 3)."""
    grain = cv2.GaussianBlur(
        rng.standard_normal((height, width, 3)).astype(np.float32), (0, 0), 1.8
    )
    return (0.3 + 0.06 * grain / grain.std()).astype(np.float32)


def noisy(light: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return (light + NOISE * rng.standard_normal(light.shape)).astype(np.float32)


def stream(step_px: float, seed: int = 1) -> tuple[list[np.ndarray], np.ndarray]:
    """Return frames of a texture going right below a still shore, and the truth."""
    rng = np.random.default_rng(seed)
    texture = soft(rng, HEIGHT, WIDTH + 400)
    shore = soft(rng, HEIGHT, WIDTH)
    ticks = TICKS_OF_PERIOD * (FRAMES - 1) + TICKS_OF_FRAME
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    looks = []
    for tick in range(ticks):
        gone = 200 - step_px * tick / TICKS_OF_PERIOD
        look = cv2.remap(texture, x + np.float32(gone), y, cv2.INTER_CUBIC)
        look[:SHORE] = shore[:SHORE]
        looks.append(look)
    frames = [
        noisy(np.mean(looks[first : first + TICKS_OF_FRAME], axis=0), rng)
        for first in range(0, ticks, TICKS_OF_PERIOD)
    ]
    return frames, np.mean(looks, axis=0)


def bridge_of(frames: list[np.ndarray], exposed: list[Exposed] = EXPOSED) -> FlowBridge:
    return bridge_flow(lambda number: frames[number], exposed)


def added(frames: list[np.ndarray], exposed: list[Exposed] = EXPOSED) -> np.ndarray:
    """Return what the bridge adds to the sum of the frames, (H, W, 3)."""
    bridge = bridge_of(frames, exposed)
    total = np.zeros(frames[0].shape)
    for number in range(len(frames) - 1):
        for patch in bridge.between(number, frames[number], frames[number + 1]):
            assert patch.light.dtype == patch.confidence.dtype == np.float32
            assert patch.light.shape == (*patch.confidence.shape, 3)
            assert patch.confidence.min() >= 0 and patch.confidence.max() <= 1
            assert (patch.light[patch.confidence == 0] == 0).all()
            height, width = patch.confidence.shape
            rows = slice(patch.top, patch.top + height)
            total[rows, patch.left : patch.left + width] += patch.light
    return total


def error_dB(light: np.ndarray, truth: np.ndarray, rows: slice) -> float:  # noqa: N802
    return float(10 * np.log10(np.mean((light - truth)[rows] ** 2)))


@pytest.mark.parametrize("step_px", [6.0, 19.0])
def test_steps_of_a_stream_vanish(step_px):
    frames, truth = stream(step_px)
    plain = np.mean(frames, axis=0)
    bridged = plain + added(frames) / FRAMES
    rows = slice(SHORE + 8, HEIGHT)
    # what noise leaves of six frames is 25 dB below a texture's steps; half of that must be had
    assert error_dB(bridged, truth, rows) < error_dB(plain, truth, rows) - 12


def test_brightness_stays():
    frames, truth = stream(19.0)
    bridged = np.mean(frames, axis=0) + added(frames) / FRAMES
    rows = slice(SHORE, HEIGHT)
    # the mean over the stream's texels differs by what runs in and out at the sides
    assert bridged[rows].mean() == pytest.approx(truth[rows].mean(), rel=2e-3)


def test_the_shore_is_untouched():
    frames, _ = stream(19.0)
    # what moves is told from noise over windows of a few cells
    assert (added(frames)[: SHORE - 5] == 0).all()


def test_noise_gives_nothing():
    rng = np.random.default_rng(3)
    still = soft(rng, HEIGHT, WIDTH)
    frames = [noisy(still, rng) for _ in range(FRAMES)]
    bridge = bridge_of(frames)
    for number in range(FRAMES - 1):
        assert bridge.between(number, frames[number], frames[number + 1]) == []


def test_what_is_new_in_every_frame_is_left_alone():
    """Spray has nothing to follow: the mean may not get worse by more than 0.05 dB."""
    rng = np.random.default_rng(4)
    looks = [soft(rng, HEIGHT, WIDTH) for _ in range(80)]
    truth = np.mean(looks, axis=0)
    frames = [noisy(look, rng) for look in looks[::16][:FRAMES]]
    exposed = EXPOSED[: len(frames)]
    plain = np.mean(frames, axis=0)
    bridged = plain + added(frames, exposed) / len(frames)
    everywhere = slice(None)
    assert error_dB(bridged, truth, everywhere) < error_dB(plain, truth, everywhere) + 0.05


def test_a_burst_run_backwards_is_bridged_alike():
    """The same light fell whichever way time runs, within what interpolation makes of it."""
    frames, _ = stream(6.0)
    onward = np.mean(frames, axis=0) + added(frames) / FRAMES
    back = np.mean(frames, axis=0) + added(frames[::-1]) / FRAMES
    rows = slice(SHORE + 8, HEIGHT)
    texture = frames[0][rows].std()
    assert np.sqrt(np.mean((onward - back)[rows] ** 2)) < 0.02 * texture


def test_the_same_again_bit_for_bit_and_frames_as_they_were():
    frames, _ = stream(19.0)
    before = [frame.copy() for frame in frames]
    np.testing.assert_array_equal(added(frames), added(frames))
    for frame, copy in zip(frames, before, strict=True):
        np.testing.assert_array_equal(frame, copy)


def test_gaps_that_cannot_be_bridged_say_why():
    frames, _ = stream(6.0)
    exposed = [Exposed(start, 0.02) for start in (0, 0.2, 0.4, 3.0, 3.02, 3.22)]
    verdicts = bridge_of(frames, exposed).gaps
    assert [verdict.bridged for verdict in verdicts] == [True, True, False, False, True]
    assert "pause" in verdicts[2].why
    assert "without a gap" in verdicts[3].why


def test_one_frame_has_no_gap():
    frames, _ = stream(6.0)
    assert list(bridge_of(frames[:1], EXPOSED[:1]).gaps) == []


def test_a_picture_of_a_few_pixels_is_left_alone():
    frames = [np.full((4, 5, 3), 0.1 * number, np.float32) for number in range(FRAMES)]
    bridge = bridge_of(frames)
    assert not any(verdict.bridged for verdict in bridge.gaps)
    assert bridge.between(0, frames[0], frames[1]) == []


def test_shares_make_one_long_shutter():
    """A gap takes as much as it gives, and only the half exposures at the ends are left."""
    frames, _ = stream(6.0)
    shares = bridge_of(frames).shares
    for share in shares:
        assert share.earlier + share.later == pytest.approx(share.gap)
    left = np.ones(FRAMES)
    for number, share in enumerate(shares):
        left[number] -= share.earlier
        left[number + 1] -= share.later
    half = FRAMES * 0.01 / 1.02
    np.testing.assert_allclose(left, [half, 0, 0, 0, 0, half], atol=1e-9)


def test_frames_that_count_less_give_and_get_less():
    """Each frame gives up its own weight, as often as it counts, and no light comes or goes."""
    frames, _ = stream(6.0)
    counts = [1.0, 0.8, 0.6, 0.4, 0.2, 0.0]
    shares = bridge_flow(lambda number: frames[number], EXPOSED, counts=counts).shares
    left = np.array(counts)
    for number, share in enumerate(shares):
        assert share.earlier + share.later == pytest.approx(share.gap)
        left[number] -= share.earlier
        left[number + 1] -= share.later
    half = FRAMES * 0.01 / 1.02
    np.testing.assert_allclose(left, [half, 0, 0, 0, 0, 0], atol=1e-9)


def test_lamps_that_flicker_do_no_harm():
    """Lamps go on and off and move nowhere: the mean may not get worse by more than 0.05 dB."""
    rng = np.random.default_rng(6)
    ground = soft(rng, HEIGHT, WIDTH)
    frames = []
    for _ in range(FRAMES + 6):
        look = ground.copy()
        for x in range(16, WIDTH, 32):
            lit = 0.8 if rng.random() < 0.5 else 0.2
            cv2.circle(look, (x, 64), 4, (lit,) * 3, -1)
        frames.append(noisy(look, rng))
    exposed = [Exposed(0.2 * number, 0.02) for number in range(len(frames))]
    truth = ground.copy()
    for x in range(16, WIDTH, 32):
        cv2.circle(truth, (x, 64), 4, (0.5,) * 3, -1)
    plain = np.mean(frames, axis=0)
    bridged = plain + added(frames, exposed) / len(frames)
    everywhere = slice(None)
    assert error_dB(bridged, truth, everywhere) < error_dB(plain, truth, everywhere) + 0.05


def test_grain_of_its_own_in_every_frame_gives_nothing():
    rng = np.random.default_rng(7)
    frames = [
        (0.3 + 0.08 * rng.standard_normal((HEIGHT, WIDTH, 3))).astype(np.float32)
        for _ in range(FRAMES)
    ]
    assert not any(gap.bridged for gap in bridge_of(frames).gaps)


def test_what_leaves_the_picture_is_followed_to_its_edge():
    """At the edge where the stream runs out only its past is seen: that has to be enough."""
    frames, truth = stream(19.0)
    plain = np.mean(frames, axis=0)
    bridged = plain + added(frames) / FRAMES
    # less than a step of the right edge
    end = (slice(SHORE + 8, HEIGHT), slice(WIDTH - 12, WIDTH))
    before, after = (np.mean((light - truth)[end] ** 2) for light in (plain, bridged))
    # measured: 8.9 dB with the water's past, 7.0 without it
    assert 10 * np.log10(before / after) > 8


def test_the_rim_of_what_moves_gets_no_worse():
    """Ground that shows through at the rim does not flow with the water."""
    rng = np.random.default_rng(9)
    texture = soft(rng, HEIGHT, WIDTH + 400)
    y, x = np.mgrid[:HEIGHT, :WIDTH].astype(np.float32)
    # water thins out over some pixels
    cover = np.clip((y - SHORE) / 6, 0, 1)[..., None]
    ground = 0.5 * soft(rng, HEIGHT, WIDTH)
    looks = []
    for tick in range(TICKS_OF_PERIOD * (FRAMES - 1) + TICKS_OF_FRAME):
        gone = np.float32(200 - 19.0 * tick / TICKS_OF_PERIOD)
        water = cv2.remap(texture, x + gone, y, cv2.INTER_CUBIC)
        looks.append(ground + cover * (water - ground))
    frames = [
        noisy(np.mean(looks[first : first + TICKS_OF_FRAME], axis=0), rng)
        for first in range(0, len(looks), TICKS_OF_PERIOD)
    ]
    truth = np.mean(looks, axis=0)
    plain = np.mean(frames, axis=0)
    bridged = plain + added(frames) / FRAMES
    rim = slice(SHORE - 2, SHORE + 2)
    # 4.5 dB were lost there; the tolerance is that of all that must not get worse
    assert error_dB(bridged, truth, rim) < error_dB(plain, truth, rim) + 0.05


def test_two_frames_cannot_show_whether_they_can_be_followed():
    """Lamps that went on and off may look like a stream, and no third frame tells."""
    frames, _ = stream(6.0)
    bridge = bridge_of(frames[:2], EXPOSED[:2])
    assert not bridge.gaps[0].bridged
    assert bridge.between(0, frames[0], frames[1]) == []
