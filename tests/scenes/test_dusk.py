"""The dusk fades as it says, and its lamps stay."""

import numpy as np
import pytest

from stacker.scenes.dusk import HALF_S, Dusk
from stacker.scenes.scene import View
from stacker.survey.dusk import find_balance


@pytest.fixture(scope="module")
def scene() -> Dusk:
    return Dusk(View(240, 160, seed=2, duration_s=24 * 60.0))


def test_the_sky_fades_by_a_stop_in_six_minutes_and_lamps_do_not(scene: Dusk) -> None:
    early, late = scene.light(0, 2), scene.light(HALF_S, HALF_S + 2)
    sky = np.s_[5:30, 5:60]
    # halos of lamps reach everywhere, a thousandth of the sky here
    assert np.allclose(early[sky] / late[sky], 2, atol=0.01)
    night = scene.light(40 * HALF_S, 40 * HALF_S + 2)
    assert night.max() > 0.3
    assert night[sky].max() < 0.003


def test_a_long_exposure_is_the_mean_of_its_parts(scene: Dusk) -> None:
    parts = np.mean([scene.light(t, t + 30) for t in range(0, 1200, 30)], axis=0)
    assert np.allclose(scene.light(0, 1200), parts, rtol=1e-5)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_balance_is_found_within_two_minutes(seed: int) -> None:
    view = View(480, 320, seed, 24 * 60.0)
    scene = Dusk(view)
    starts = np.arange(24) * 60.0
    weights = np.array([0.2126, 0.7152, 0.0722], np.float32)
    frames = np.stack([np.minimum(scene.light(t, t + 2), 1) @ weights for t in starts])
    moment = find_balance(frames, starts).moment_s
    assert moment is not None
    assert abs(moment - scene.balance_s()) < 120
