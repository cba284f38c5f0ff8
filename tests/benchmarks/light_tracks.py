"""Simulated bursts of moving lights with the tracks of their lamps."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from stacker.scenes.camera import Camera
from stacker.scenes.fireworks import DRAG, GRAVITY, Fireworks
from stacker.scenes.road import NEAREST_M, ROAD_ENDS_M, Road
from stacker.scenes.scene import Light, Scene, View
from stacker.scenes.streaks import LampLayer, cut_tracks

SHUTTER_S = 1.0
# sliding exposures begin this often within a shutter
PARTS = 20
# tracks are sampled this often in a shutter
SAMPLES = 400
BORDER_PX = 6

Place = Callable[[np.ndarray], np.ndarray]


@dataclass
class Track:
    """Points of a lamp's way, (N, 2) px: which lie by a gap that it crosses from a frame in which
    it is seen to another, the number of that gap, and which points are within its way from first
    to last frame seen."""

    kind: str
    points: np.ndarray
    by_gap: np.ndarray
    gap: np.ndarray
    on_way: np.ndarray


@dataclass
class Tracked:
    """A burst of frames with noise, its truth, and the tracks of its lamps."""

    frames: list[Light]
    starts: list[float]
    truth: Light
    still: Light
    noise: float
    tracks: list[Track]
    gap_px: float
    shutter_s: float = SHUTTER_S
    kinds: list[str] = field(default_factory=list)

    @property
    def plain(self) -> Light:
        """The lighten of the frames."""
        return np.max(self.frames, axis=0)


def simulate(scene: Scene, frames: int, gap_s: float, seed: int) -> tuple[list[Light], Light]:
    """Return noisy frames of a shutter of one second and the sliding exposure without noise."""
    interval = round((SHUTTER_S + gap_s) * PARTS)
    parts = interval * (frames - 1) + PARTS
    total: list[Light] = []
    noisy, truth = [], None
    for number in range(parts):
        total.append(scene.light(number * SHUTTER_S / PARTS, (number + 1) * SHUTTER_S / PARTS))
        if len(total) < PARTS:
            continue
        light = scene.camera.through_lens(np.mean(total, axis=0, dtype=np.float32))
        total.pop(0)
        truth = light if truth is None else np.maximum(truth, light)
        first = number - PARTS + 1
        if first % interval == 0:
            rng = np.random.default_rng([seed, first])
            noisy.append(scene.camera.expose(light, rng))
    assert truth is not None
    return noisy, np.minimum(truth, 1)


def track(
    kind: str, place: Place, lit: Place, frames: int, gap_s: float, size: tuple[int, int]
) -> Track:
    """Return a track sampled over the burst: ``place`` (t) to (N, 2), ``lit`` (t) to (N,) bool."""
    interval = SHUTTER_S + gap_s
    end = (frames - 1) * interval + SHUTTER_S
    t = np.arange(0, end, SHUTTER_S / SAMPLES)
    points = place(t)
    inside = (points > BORDER_PX).all(1) & (points < np.array(size) - 1 - BORDER_PX).all(1)
    inside &= lit(t)
    phase = t % interval
    number = (t // interval).astype(int)
    # a light that comes into the picture or leaves it shows in the rest of a frame
    whole = np.array([
        inside[(number == n) & (phase < SHUTTER_S)].mean() > 0.3 for n in range(frames)
    ])  # fmt: skip
    late, early = phase > 0.7 * SHUTTER_S, phase < 0.3 * SHUTTER_S
    after = np.where(late, number, number - 1)
    both = np.array([whole[n] & whole[n + 1] for n in range(frames - 1)] + [False, False])
    by_gap = inside & (late | early) & (after >= 0) & both[np.clip(after, -1, frames)]
    on_way = inside & (whole[number] | by_gap)
    # evenly along the way: slow lamps give many points at one place
    far = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    step = np.floor(far / 0.5)
    kept = np.concatenate([[True], np.diff(step) > 0]) & (by_gap | on_way)
    return Track(kind, points[kept], by_gap[kept], after[kept], on_way[kept])


def _kept(folder: Path | None, name: str, make: Callable[[], Tracked]) -> Tracked:
    """Return what was made before under a name, or make and keep it."""
    if folder is None:
        return make()
    path = folder / f"{name}.pickle"
    if path.exists():
        return pickle.loads(path.read_bytes())
    folder.mkdir(parents=True, exist_ok=True)
    made = make()
    path.write_bytes(pickle.dumps(made))
    return made


def _gap_px(tracks: list[Track], gap_s: float, frames: int) -> float:
    """Return a usual length of a gap in px, and no less than a few."""
    long = [len(one.points) * 0.5 / ((frames - 1) * (1 + gap_s)) for one in tracks]
    return max(7.0, 1.3 * float(np.median(long)) * gap_s + 5)


def road_burst(
    size: tuple[int, int], frames: int, gap_s: float, seed: int, keep: Path | None
) -> Tracked:
    """Return cars on the winding coast road."""

    def make() -> Tracked:
        scene = Road(View(*size, seed, (frames - 1) * (1 + gap_s) + 1))
        noisy, truth = simulate(scene, frames, gap_s, seed)
        tracks = []
        for lamp in range(2 * len(scene._speed)):

            def where(t: np.ndarray, lamp: int = lamp) -> tuple[np.ndarray, ...]:
                return scene._where(np.full(t.size, lamp), t)

            kind = "headlights" if scene._comes[lamp // 2] else "tail lights"
            tracks.append(
                track(
                    kind,
                    lambda t, where=where: np.stack(where(t)[:2], axis=1),
                    lambda t, where=where: (where(t)[2] > NEAREST_M + 1)
                    & (where(t)[2] < ROAD_ENDS_M - 15),
                    frames, gap_s, size,
                )
            )  # fmt: skip
        still = scene.camera.through_lens(scene.empty())
        return _burst(scene, noisy, truth, still, tracks, frames, gap_s)

    return _kept(keep, f"road_{gap_s}_{seed}_{size[0]}_{frames}", make)


def fireworks_burst(
    size: tuple[int, int], frames: int, gap_s: float, seed: int, keep: Path | None
) -> Tracked:
    """Return sparks that slow down, fall and fade."""

    def make() -> Tracked:
        scene = Fireworks(View(*size, seed, (frames - 1) * (1 + gap_s) + 1))
        noisy, truth = simulate(scene, frames, gap_s, seed)
        width, height = size
        tracks = []
        for shell in scene._shells:
            for spark in range(0, len(shell.life_s), 4):

                def where(t: np.ndarray, shell=shell, spark=spark) -> np.ndarray:
                    age = np.maximum(t - shell.opens_s, 0)
                    flown = (1 - np.exp(-DRAG * age)) / DRAG
                    fallen = GRAVITY / DRAG * (age - flown)
                    x = shell.x * width + shell.velocity[spark, 0] * flown * height
                    y = (shell.y + shell.velocity[spark, 1] * flown + fallen) * height
                    return np.stack([x, y], axis=1)

                tracks.append(
                    _spark_track(where, shell.opens_s, shell.life_s[spark], frames, gap_s, size)
                )
        still = scene.camera.through_lens(scene._above)
        top = scene._sea.top
        still[top:] = np.min(noisy, axis=0)[top:]
        return _burst(scene, noisy, truth, still, tracks, frames, gap_s)

    return _kept(keep, f"fireworks_{gap_s}_{seed}_{size[0]}_{frames}", make)


def _spark_track(
    where: Place, opens_s: float, life_s: float, frames: int, gap_s: float, size: tuple[int, int]
) -> Track:
    """Return a spark's track: seen on both sides of a gap when it burns in part of both frames."""
    one = track("sparks", where, lambda t: np.full(t.size, True), frames, gap_s, size)
    interval = SHUTTER_S + gap_s
    t = np.arange(0, (frames - 1) * interval + SHUTTER_S, SHUTTER_S / SAMPLES)
    points = where(t)
    burns = (t > opens_s + 0.02) & (t < opens_s + 0.85 * life_s)
    inside = (points > BORDER_PX).all(1) & (points < np.array(size) - 1 - BORDER_PX).all(1) & burns
    phase, number = t % interval, (t // interval).astype(int)
    seen = np.array([
        (inside & (number == n) & (phase < SHUTTER_S)).sum() > 0.1 * SAMPLES for n in range(frames)
    ])  # fmt: skip
    late, early = phase > 0.7 * SHUTTER_S, phase < 0.3 * SHUTTER_S
    after = np.where(late, number, number - 1)
    both = np.array([seen[n] & seen[n + 1] for n in range(frames - 1)] + [False, False])
    by_gap = inside & (late | early) & (after >= 0) & both[np.clip(after, -1, frames)]
    far = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    kept = np.concatenate([[True], np.diff(np.floor(far / 0.5)) > 0]) & inside
    one.points, one.by_gap, one.gap = points[kept], by_gap[kept], after[kept]
    one.on_way = (seen[number] | by_gap)[kept]
    return one


class Planes(Scene):
    """Planes and satellites before a dark sky; some of the planes blink."""

    camera = Camera(iso=800, f_number=2.8, focal_mm=24.0, clock="23:00:00")

    def __init__(self, view: View) -> None:
        super().__init__(view)
        rng = view.rng("planes")
        count = 9
        self.start = rng.uniform(0.1, 0.9, (count, 2)) * [view.width, view.height]
        angle = rng.uniform(0, 2 * np.pi, count)
        speed = rng.uniform(12, 60, count) * view.unit
        self.speed = np.stack([np.cos(angle), np.sin(angle)], 1) * speed[:, None]
        self.start -= self.speed * view.duration_s / 2
        self.power = rng.uniform(0.15, 1.2, count) * speed * 1.8
        self.blinks = np.arange(count) % 3 == 2
        y = np.linspace(0, 1, view.height, dtype=np.float32)[:, None, None]
        self._still = np.broadcast_to(
            0.004 + 0.012 * y * np.array([1, 0.9, 0.8], np.float32), (view.height, view.width, 3)
        ).astype(np.float32)
        for x, z, power in zip(*rng.uniform(0, 1, (3, 200)), strict=True):
            px, py = int(x * view.width), int(z * view.height)
            self._still[py, px] += 0.4 * power**4

    def where(self, owner: np.ndarray, t: np.ndarray) -> np.ndarray:
        """Return places (N, 2) of planes at times."""
        return self.start[owner] + self.speed[owner] * t[:, None]

    def on(self, owner: np.ndarray, t: np.ndarray) -> np.ndarray:
        """Return whether planes shine at times; those that blink are on a third of 0.36 s."""
        return ~self.blinks[owner] | (t % 0.36 < 0.12)

    def light(self, t0: float, t1: float) -> Light:
        layer = LampLayer(self.view.width, self.view.height)
        pieces = cut_tracks(
            lambda owner, t: tuple(self.where(owner, t).T), len(self.power), t0, t1, cell_s=0.02
        )
        x, y = self.where(pieces.owner, pieces.time_s).T
        power = self.power[pieces.owner] * self.on(pieces.owner, pieces.time_s)
        energy = (power * pieces.span_s / (t1 - t0))[:, None] * np.array([1.0, 0.93, 0.8])
        layer.add(x, y, energy)
        return self._still + layer.spread(0.9 * max(self.view.unit, 0.7))

    def empty(self) -> Light:
        return self._still.copy()


def plane_burst(
    size: tuple[int, int], frames: int, gap_s: float, seed: int, keep: Path | None
) -> Tracked:
    """Return planes and satellites, a third of which blink."""

    def make() -> Tracked:
        scene = Planes(View(*size, seed, (frames - 1) * (1 + gap_s) + 1))
        noisy, truth = simulate(scene, frames, gap_s, seed)
        tracks = [
            track(
                "planes",
                lambda t, n=n: scene.where(np.full(t.size, n), t),
                lambda t: np.full(t.size, True),
                frames, gap_s, size,
            )
            for n in np.flatnonzero(~scene.blinks)
        ]  # fmt: skip
        still = scene.camera.through_lens(scene.empty())
        return _burst(scene, noisy, truth, still, tracks, frames, gap_s)

    return _kept(keep, f"planes_{gap_s}_{seed}_{size[0]}_{frames}", make)


def _burst(
    scene: Scene, noisy: list[Light], truth: Light, still: Light,
    tracks: list[Track], frames: int, gap_s: float,
) -> Tracked:  # fmt: skip
    noise = float(np.sqrt(np.median(scene.camera.noise_variance(still))))
    starts = [n * (1 + gap_s) for n in range(frames)]
    kinds = sorted({one.kind for one in tracks})
    long = _gap_px([one for one in tracks if len(one.points)], gap_s, frames)
    return Tracked(noisy, starts, truth, still, noise, tracks, long, kinds=kinds)
