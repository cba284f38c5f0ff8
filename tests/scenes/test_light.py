"""Laws of every scene's light: it adds up over time, is finite and fills any picture."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from stacker.scenes.catalogue import SCENES
from stacker.scenes.scene import Scene, View, time_cells
from stacker.scenes.stage import SCENE_CLASSES, build_scene

SceneOf = Callable[[str], Scene]

# Water and people stand still in cells of a fixed lattice and streaks are cut into pieces of half
# a pixel at most, so that what is left is where the pieces of a part end: far less than a
# sigma of the lamp's width. A float32 sum adds some 1e-6 of the lamp's own light.
ADDING_TOLERANCE = 0.03


def test_every_listed_scene_can_be_built() -> None:
    assert set(SCENE_CLASSES) == set(SCENES)


@pytest.mark.parametrize("name", SCENES)
def test_light_over_an_interval_is_the_mean_of_its_parts(name: str, scene_of: SceneOf) -> None:
    scene, shutter = scene_of(name), SCENES[name].shutter_s
    t0, t1, t2 = 3 * shutter, 3.7 * shutter, 5 * shutter
    whole = scene.light(t0, t2)
    parts = (scene.light(t0, t1) * (t1 - t0) + scene.light(t1, t2) * (t2 - t1)) / (t2 - t0)
    scale = np.maximum(whole, 0.05)
    assert np.abs(whole - parts).max() <= ADDING_TOLERANCE * scale.max()
    assert np.mean(np.abs(whole - parts) / scale) < 1e-3


@pytest.mark.parametrize("name", SCENES)
def test_light_moves_and_is_finite(name: str, scene_of: SceneOf) -> None:
    scene, info = scene_of(name), SCENES[name]
    first = scene.light(0.0, info.shutter_s)
    later = scene.light(8 * info.interval_s, 8 * info.interval_s + info.shutter_s)
    assert first.dtype == np.float32
    assert first.shape == (80, 120, 3)
    assert np.isfinite(first).all()
    assert first.min() >= 0
    assert np.abs(first - later).max() > 0.02


@pytest.mark.parametrize("name", SCENES)
def test_light_of_a_seed_is_always_the_same_and_of_another_differs(name: str) -> None:
    def light(seed: int) -> np.ndarray:
        return build_scene(name, View(64, 48, seed, 20.0)).light(2.0, 2.5)

    assert np.array_equal(light(1), light(1))
    assert np.abs(light(1) - light(2)).max() > 0.01


@pytest.mark.parametrize("name", SCENES)
@pytest.mark.parametrize("size", [(97, 61), (64, 96), (16, 16), (200, 16), (16, 120)])
def test_any_size_is_filled(name: str, size: tuple[int, int]) -> None:
    light = build_scene(name, View(*size, seed=1, duration_s=10.0)).light(1.0, 1.5)
    assert light.shape == (size[1], size[0], 3)
    assert np.isfinite(light).all()


@pytest.mark.parametrize("name", ["road", "quay"])
def test_empty_scene_is_what_is_seen_where_nobody_is(name: str, scene_of: SceneOf) -> None:
    scene, info = scene_of(name), SCENES[name]
    empty = scene.empty()
    assert empty is not None
    frames = np.stack(
        [
            scene.light(i * info.interval_s, i * info.interval_s + info.shutter_s)
            for i in range(info.frames)
        ]
    )
    off = np.abs(np.median(frames, axis=0) - empty).max(axis=2)
    if name == "quay":
        # Nobody stays: the median of the burst is the empty square, but for a few pixels.
        assert np.mean(off > 0.03) < 0.01
        assert np.mean(np.abs(frames - empty).max(axis=3) > 0.03) > 0.01
    else:
        # Headlights only add light.
        assert (frames >= empty - 1e-5).all()


def test_nobody_lingers_for_long(scene_of: SceneOf) -> None:
    """No one stands within half a metre of one place in more than 40 % of the frames."""
    from stacker.scenes.quay import Quay

    scene, info = scene_of("quay"), SCENES["quay"]
    assert isinstance(scene, Quay)
    times = np.arange(info.frames) * info.interval_s
    for walker in scene._walkers:
        x = np.array([walker.at(float(t))[0] for t in times])
        at_one_place = np.abs(x[:, None] - x[None]) < 0.5
        assert at_one_place.mean(axis=0).max() <= 0.40


@pytest.mark.parametrize(
    ("t0", "t1", "cell"), [(0.0, 1.0, 0.25), (0.3, 0.31, 0.25), (7.9, 9.2, 0.5)]
)
def test_time_cells_cover_the_exposure_once(t0: float, t1: float, cell: float) -> None:
    cells = time_cells(t0, t1, cell)
    assert cells.share.sum() == pytest.approx(1.0)
    assert ((cells.middle_s > t0 - cell) & (cells.middle_s < t1 + cell)).all()


def test_long_exposure_of_water_is_smoother_than_a_short_one(scene_of: SceneOf) -> None:
    scene = scene_of("harbour")
    water = slice(60, 80)

    def roughness(light: np.ndarray) -> float:
        return float(np.abs(np.diff(light[water, 60:], axis=0)).mean())

    assert roughness(scene.light(0.0, 14.0)) < 0.6 * roughness(scene.light(0.0, 0.1))


def test_still_stone_stays_still(scene_of: SceneOf) -> None:
    scene = scene_of("harbour")
    sky_and_land = slice(0, 38)
    short, long = scene.light(0.0, 0.1), scene.light(0.0, 14.0)
    assert np.array_equal(short[sky_and_land], long[sky_and_land])


def test_beam_passes_every_direction_equally_and_adds_up() -> None:
    from stacker.scenes.lighthouse import BEAM_SIGMA, BEAMS, TURN_S, beam_share

    angle = np.linspace(-np.pi, np.pi, 73, dtype=np.float32)
    sigma = np.full_like(angle, BEAM_SIGMA)
    whole = beam_share(angle, sigma, 0.0, TURN_S)
    # Over a turn each beam's profile passes once: its area over the full circle.
    assert whole == pytest.approx(BEAMS * BEAM_SIGMA * np.sqrt(2 * np.pi) / (2 * np.pi), rel=1e-4)
    parts = (
        beam_share(angle, sigma, 1.0, 1.7) * 0.7 + beam_share(angle, sigma, 1.7, 4.0) * 2.3
    ) / 3
    assert beam_share(angle, sigma, 1.0, 4.0) == pytest.approx(parts, abs=1e-5)
