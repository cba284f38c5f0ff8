"""The balance of sky and lamps: found where it was put, and not where there is none."""

import numpy as np
import pytest

from stacker.survey.dusk import find_balance, find_fade

STARTS_S = np.arange(0, 1200, 30.0)


def dusk(lamps: float, *, minutes_a_stop: float = 4, bend: float = 0.0) -> np.ndarray:
    """Return frames: sky above, ground of a tenth of its light below, a lit wall in a corner."""
    rng = np.random.default_rng(6)
    stops = STARTS_S / 60 / minutes_a_stop
    sky = 0.4 * 2.0 ** -(stops + bend * stops**2)
    frames = np.empty((len(STARTS_S), 40, 60))
    frames[:, :20] = sky[:, None, None]
    frames[:, 20:] = 0.1 * sky[:, None, None]
    frames[:, 25:33, 5:20] += lamps
    return (frames * rng.normal(1, 0.01, frames.shape)).astype(np.float32)


@pytest.mark.parametrize(("lamps", "bend"), [(0.2, 0.0), (0.1, 0.0), (0.1, 0.05)])
def test_the_moment_is_found(lamps, bend):
    stops = np.log2(0.4 / lamps)
    if bend:
        stops = (-1 + np.sqrt(1 + 4 * bend * stops)) / (2 * bend)
    found = find_balance(dusk(lamps, bend=bend), STARTS_S)
    # a twentieth of a stop: the median of fades is a bit more than the sky's own
    assert found.moment_s == pytest.approx(stops * 240, abs=12)
    assert found.fade is not None and found.fade.residual_stops < 0.02
    begin_s, end_s = found.fade.near(found.moment_s)
    assert begin_s < found.moment_s < end_s
    if not bend:
        # a quarter of a stop on either side: a minute each, of four minutes a stop
        assert (begin_s - found.moment_s, end_s - found.moment_s) == pytest.approx((-60, 60), abs=3)
        assert found.fade.stops_per_min == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize(
    ("lamps", "why"), [(0.6, "darker"), (0.008, "brighter"), (0.0, "no lamps")]
)
def test_where_there_is_none_the_reason_is_told(lamps, why):
    found = find_balance(dusk(lamps), STARTS_S)
    assert found.moment_s is None and found.why is not None and why in found.why


def test_a_light_that_stays_is_no_dusk():
    found = find_balance(dusk(0.1, minutes_a_stop=60), STARTS_S)
    assert found.moment_s is None and found.why == "the light fades by less than half a stop"


def test_a_fade_is_found_without_lamps_and_none_where_light_stays():
    fade = find_fade(dusk(0.0), STARTS_S)
    assert fade is not None and fade.stops_per_min == pytest.approx(0.25, abs=0.01)
    # at either end the span goes as far as there are frames
    assert fade.near(0.0) == pytest.approx((0, 60), abs=3)
    assert find_fade(dusk(0.1, minutes_a_stop=60), STARTS_S) is None
