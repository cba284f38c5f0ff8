"""What the survey takes simulated bursts for: a table of what they are against what it says.

    python -m tests.benchmarks.subjects              every subject, from a tripod, short, by hand
    python -m tests.benchmarks.subjects --small      one seed, one size, for the tests
    python -m tests.benchmarks.subjects --keep DIR   draws bursts there once and uses them again

Scenes are shot as they usually are, from a tripod and by hand. A lighthouse's beam and a boat's
lamp are lights that wander through the dark, which is what light painting is.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import tifffile

import stacker
from stacker.light.srgb import linear_to_srgb
from stacker.scenes import SCENES
from stacker.scenes.camera import move
from stacker.scenes.exif import Stamp
from stacker.scenes.files import encode_frame
from stacker.scenes.render import BurstPlan, _Studio
from stacker.scenes.scene import Light, Scene
from stacker.scenes.stage import build_scene
from stacker.survey.subject import OPTIONS
from tests.benchmarks.moving_subjects import Ride, simulate_ride

Spoil = Callable[[int, Light], Light]
RIGHT = {
    "harbour": "water",
    "road": "traffic",
    "lighthouse": "light-painting",
    "quay": "crowd",
    "stars": "star-trails",
    "fireworks": "fireworks",
    "clouds": "clouds",
    "dusk": "dusk",
    "pan": "pan",
}
SIZES = ((480, 320), (960, 640))
# frames of bursts that were cut short, and the tremor of a hand in pixels
SHORT, BY_HAND_PX = 8, 3.0
# what is not held in a hand: minutes of stars
ON_TRIPODS = ("stars", "pan", "dusk", "clouds")
# stops by which the evening grows darker, and how long it lasts: a stop in four minutes
DUSK_STOPS, DUSK_S = 1.5, 360.0


class _Evening(Scene):
    """The quay while the sky grows dark; lamps, squares here and there, stay as they are."""

    def __init__(self, scene: Scene) -> None:
        super().__init__(scene.view)
        self.camera, self.scene = scene.camera, scene
        rng = scene.view.rng("lamps")
        height, width = scene.view.height, scene.view.width
        self.lamps = np.zeros((height, width, 3), np.float32)
        for x, y in rng.uniform(0.05, 0.95, (20, 2)):
            left, top = int(x * width), int(y * height)
            side = max(2, width // 100)
            self.lamps[top : top + side, left : left + side] = (0.3, 0.2, 0.1)

    def light(self, t0: float, t1: float) -> Light:
        """Return the light of the middle of the exposure: dusk is slow."""
        share = (t0 + t1) / 2 / self.view.duration_s
        sky = 0.5 * self.scene.light(t0, t1) * np.float32(2 ** (-DUSK_STOPS * share))
        return np.asarray(sky + self.lamps, np.float32)


class _Emptied(Scene):
    """The quay without people, for clouds to drift over."""

    def __init__(self, scene: Scene) -> None:
        super().__init__(scene.view)
        self.camera = scene.camera
        empty = scene.empty()
        assert empty is not None
        self.empty_light = empty

    def light(self, t0: float, t1: float) -> Light:
        """Return what is always the same."""
        return self.empty_light


@dataclass(frozen=True)
class Shot:
    """One burst of the benchmark."""

    name: str
    seed: int
    size: tuple[int, int]
    frames: int
    tremor_px: float = 0.0

    @property
    def kind(self) -> str:
        """How it was shot, for the table."""
        short = self.frames == SHORT
        if self.tremor_px:
            return "by hand, short" if short else "by hand"
        return "short" if short else "usual"

    @property
    def folder(self) -> str:
        """The name of its folder."""
        return f"{self.name}-{self.seed}-{self.size[0]}-{self.tremor_px:g}-{self.frames}"


def shoot(
    folder: Path,
    name: str,
    *,
    seed: int,
    size: tuple[int, int],
    tremor_px: float = 0.0,
    frames: int | None = None,
    spoil: Spoil | None = None,
) -> Path:
    """Write the frames of a scene without its truth, which takes most of the time.

    ``spoil`` changes the light on the sensor of each frame by its number from 0.
    """
    if name == "pan":
        return _shoot_pan(folder, seed, size, frames or 24)
    place = "quay" if name in ("dusk", "clouds") else name
    info = SCENES[place]
    count = frames or info.frames
    plan = BurstPlan(
        name=place,
        frames=count,
        size=size,
        seed=seed,
        shutter_s=info.shutter_s,
        interval_s=DUSK_S / count if name == "dusk" else info.interval_s,
        tremor_px=tremor_px,
        file_format="jpg",
    )
    folder.mkdir(parents=True)
    scene = build_scene(place, plan.view())
    if name == "dusk":
        scene = _Evening(scene)
    if name == "clouds":
        from tests.benchmarks.spoiled_bursts import clouds

        scene, spoil = _Emptied(scene), clouds(seed=seed)
    studio = _Studio(plan, scene)
    for number, path in enumerate(plan.frame_paths(folder)):
        if spoil is None:
            studio.frame(number, path)
        else:
            _spoiled(studio, number, path, spoil)
    return folder


def _spoiled(studio: _Studio, number: int, path: Path, spoil: Spoil) -> None:
    """Write a frame as the studio does, its light changed before the sensor counts it."""
    plan, camera = studio.plan, studio.scene.camera
    start = plan.start_s(number)
    light = studio.scene.light(start, start + plan.shutter_s)
    seen = camera.through_lens(move(light, studio.motion[number], plan.margin))
    recorded = camera.expose(spoil(number, seen), np.random.default_rng([plan.seed, number]))
    stamp = Stamp(camera, start, plan.shutter_s)
    path.write_bytes(encode_frame(recorded, stamp, plan.file_format))


def _shoot_pan(folder: Path, seed: int, size: tuple[int, int], frames: int) -> Path:
    """Write a burst in which the camera follows something before a background that passes."""
    width, height = size
    # the drawn background is two pictures wide
    pan = Ride(
        "pan",
        frames=frames,
        subject_px=(width // 5, height // 6),
        pan_px=min(0.08 * width, 0.8 * width / frames),
    )
    folder.mkdir(parents=True)
    for number, light in enumerate(simulate_ride(pan, size, seed).frames):
        codes = np.rint(linear_to_srgb(np.clip(light, 0, 1)) * 255).astype(np.uint8)
        tifffile.imwrite(folder / f"KP_{number + 1:04d}.tif", codes, photometric="rgb")
    return folder


def named(folder: Path) -> tuple[str, str]:
    """Return the subject that the survey names, and how sure it is."""
    subject = stacker.survey(stacker.open_burst(folder)).measured["subject"]
    return (subject["name"], subject["confidence"]) if subject else ("none", "")


def shots(*, small: bool) -> list[Shot]:
    """Return every burst of the benchmark."""
    if small:
        return [Shot(name, 1, SIZES[0], 12) for name in ("harbour", "quay")]
    asked = []
    for name in RIGHT:
        asked += [Shot(name, seed, SIZES[0], 24) for seed in range(1, 8)]
        asked.append(Shot(name, 8, SIZES[1], 24))
        asked += [Shot(name, seed, SIZES[0], 12) for seed in (9, 10)]
        asked += [Shot(name, seed, SIZES[0], SHORT) for seed in range(21, 26)]
        if name not in ON_TRIPODS:
            asked += [Shot(name, seed, SIZES[0], 24, BY_HAND_PX) for seed in range(11, 16)]
            asked += [Shot(name, seed, SIZES[0], SHORT, BY_HAND_PX) for seed in range(31, 36)]
    return asked


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="two short bursts")
    parser.add_argument("--scenes", default=",".join(RIGHT), help="some of them, with commas")
    parser.add_argument("--keep", type=Path, help="where bursts are kept")
    asked = parser.parse_args()
    told: dict[tuple[str, str], Counter[str]] = {}
    with tempfile.TemporaryDirectory() as passing:
        for shot in shots(small=asked.small):
            if shot.name not in asked.scenes.split(","):
                continue
            folder = (asked.keep or Path(passing)) / shot.folder
            if not folder.exists():
                drawn = folder.with_name(f"{folder.name}-unfinished")
                shoot(drawn, shot.name, seed=shot.seed, size=shot.size,
                      tremor_px=shot.tremor_px, frames=shot.frames)  # fmt: skip
                drawn.rename(folder)
            said, sure = named(folder)
            told.setdefault((shot.name, shot.kind), Counter())[said] += 1
            if said != RIGHT[shot.name]:
                print(f"{shot.folder}: {sure} {said}, not {RIGHT[shot.name]}", flush=True)
    columns = [
        subject for subject in (*OPTIONS, "none") if any(row[subject] for row in told.values())
    ]
    print(f"{'scene':12}{'shot':16}" + "".join(f"{column:>15}" for column in columns) + "   right")
    for (name, kind), row in told.items():
        cells = "".join(f"{row[column] or '-':>15}" for column in columns)
        print(f"{name:12}{kind:16}{cells}   {row[RIGHT[name]]} of {row.total()}")


if __name__ == "__main__":
    main()
