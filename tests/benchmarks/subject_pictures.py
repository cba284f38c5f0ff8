"""What each subject's choices are worth: its picture against the ideal, beside plain blends.

    python -m tests.benchmarks.subject_pictures                    every subject, three seeds
    python -m tests.benchmarks.subject_pictures --only water,crowd --seeds 1
    python -m tests.benchmarks.subject_pictures --small            for the tests

Figures are decibels of codes (``stacker.survey.likeness.psnr``). The ideal exposure is the scene's
truth: one long shutter, the sliding exposure (the greatest light of any exposure of one shutter's
length), the place without anybody, the picture of all poses as it was drawn, or, of stars held as
points, the frame that the others are held to, without noise. Of stars, "sky",
"ground" and "skyline" are figures of these parts alone by the truth (the last one, nine pixels
along it), and IoU that of the mask found with it.
The road of cars has bodies beside its lamps; its truth has none. Below a dusk stands how far the
moment of balance that is told lies from the scene's own.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import tifffile

import stacker
from stacker.light.encoding import LightArray
from stacker.scenes import SCENES, render_scene
from stacker.scenes.dusk import Dusk
from stacker.scenes.render import BurstPlan, _Studio
from stacker.scenes.scene import View
from stacker.scenes.stage import build_scene
from stacker.survey.likeness import psnr
from tests.benchmarks.one_walker import POSES, OneWalker, shoot_one_walker
from tests.benchmarks.road_of_cars import RoadOfCars

# how wide a strip the skyline is
ALONG_PX = 9


@dataclass(frozen=True)
class Row:
    """A subject on a scene, the truth it is held against, and other words said with it."""

    subject: str
    scene: str
    truth: str
    aim_db: float | None = 36.0
    cars: bool = False
    said: dict[str, Any] = field(default_factory=dict)

    @property
    def title(self) -> str:
        """The row's name."""
        words = " ".join(f"{name}={value}" for name, value in self.said.items())
        return f"{self.subject} {words}".strip() + (", cars with bodies" if self.cars else "")


ROWS = (
    Row("water", "harbour", "exposure"),
    Row("traffic", "road", "lighten"),
    Row("traffic", "road", "lighten", said={"blend": "lights"}),
    Row("traffic", "road", "lighten", None, cars=True),
    Row("traffic", "road", "lighten", None, cars=True, said={"blend": "lights"}),
    Row("star-trails", "stars", "lighten"),
    Row("star-trails", "stars", "lighten", said={"regions": ()}),
    Row("stars", "stars", "frame"),
    Row("crowd", "quay", "empty"),
    Row("many-of-one", "one walker", "poses"),
    Row("many-of-one", "one walker", "poses", said={"weights": (1, 0.4, 0.4, 0.4, 1)}),
    Row("dusk", "dusk", "exposure"),
    Row("fireworks", "fireworks", "lighten", None),
    Row("fireworks", "fireworks", "lighten", None, said={"bridge": True}),
    Row("light-painting", "lighthouse", "lighten", None),
)


def shoot_cars(folder: Path, seed: int, size: tuple[int, int]) -> None:
    """Write the frames of the road of cars."""
    info = SCENES["road"]
    plan = BurstPlan(
        name="road", frames=info.frames, size=size, seed=seed, shutter_s=info.shutter_s,
        interval_s=info.interval_s, tremor_px=0.0, file_format="jpg",
    )  # fmt: skip
    folder.mkdir()
    studio = _Studio(plan, RoadOfCars(plan.view()))
    for number, path in enumerate(plan.frame_paths(folder)):
        studio.frame(number, path)


@dataclass(frozen=True)
class Found:
    """Decibels of a plain mean, a plain lighten and the subject, processor seconds, and what there
    is to say besides."""

    mean_db: float
    lighten_db: float
    subject_db: float
    cpu_s: float
    told: str


def balance_told(report: dict[str, Any], seed: int, size: tuple[int, int]) -> str:
    """Return how far the moment of balance that was told lies from that of the scene."""
    info = SCENES["dusk"]
    end_s = (info.frames - 1) * info.interval_s + info.shutter_s
    truth = Dusk(View(*size, seed, end_s)).balance_s()
    told = report["balance"]["at_s"]
    return f"balance told at {told:.0f} s, truth {truth:.0f} s: {told - truth:+.0f} s (aim 120)"


def one_frame(scene: str, seed: int, size: tuple[int, int], number: int) -> LightArray:
    """Return the light of a frame without its noise."""
    info = SCENES[scene]
    plan = BurstPlan(
        name=scene, frames=info.frames, size=size, seed=seed, shutter_s=info.shutter_s,
        interval_s=info.interval_s, tremor_px=0.0, file_format="jpg",
    )  # fmt: skip
    drawn, start = build_scene(scene, plan.view()), plan.start_s(number)
    light = drawn.camera.through_lens(drawn.light(start, start + plan.shutter_s))
    return np.clip(light, 0, 1)


def parts_told(shot: stacker.Shot, truth: LightArray, folder: Path) -> str:
    """Return figures of sky, ground and the skyline, and how true the mask of the ground is."""
    x, y = shot.report["region"]["x"], shot.report["region"]["y"]
    height, width = truth.shape[:2]
    cover = cv2.imread(str(folder / "truth" / "ground.png"), cv2.IMREAD_UNCHANGED) / 65535
    cover = cover[y : y + height, x : x + width]
    near = np.ones((ALONG_PX, ALONG_PX))
    along = (cv2.dilate(cover, near) > 0.5) & (cv2.erode(cover, near) < 0.5)
    parts = {"sky": (cover < 0.5) & ~along, "ground": (cover >= 0.5) & ~along, "skyline": along}
    words = [
        f"{name} {psnr(shot.light[part][None], truth[part][None]):.1f}"
        for name, part in parts.items()
    ]
    if "ground" in shot.masks:
        # as it was found, without the edge that a region is given
        plain = stacker.expose(shot.burst, masks=("ground",))
        found = plain.masks["ground"][y : y + height, x : x + width] > 32767
        ground = cover >= 0.5
        for name, ours, true in (("ground", found, ground), ("sky", ~found, ~ground)):
            words.append(f"IoU {name} {(ours & true).sum() / (ours | true).sum():.4f}")
    return ", ".join(words)


def measure(folder: Path, row: Row, seed: int, size: tuple[int, int]) -> Found:
    """Return what the subject's choices make of a burst, beside plain blends."""
    burst = stacker.open_burst(folder)
    start = time.process_time()
    shot = stacker.expose(burst, subject=row.subject, **row.said)
    light, spent = shot.light, time.process_time() - start
    region = shot.report["region"]
    rows = slice(region["y"], region["y"] + region["height"])
    columns = slice(region["x"], region["x"] + region["width"])
    if row.truth == "frame":
        names = [frame["name"] for frame in shot.report["frames"]]
        truth = one_frame(row.scene, seed, size, names.index(shot.report["reference"]))
    elif row.truth == "poses":
        truth = OneWalker(View(*size, seed, 0.0)).ideal(row.said.get("weights", (1.0,) * POSES))
    else:
        scene = folder if not row.cars else folder.with_name(f"{row.scene}-{seed}")
        truth = tifffile.imread(scene / "truth" / f"{row.truth}.tif")
    truth = truth[rows, columns]
    plain = [
        psnr(stacker.expose(burst, blend=blend).light[rows, columns], truth)
        for blend in ("mean", "lighten")
    ]
    told = ""
    if row.scene == "stars":
        told = parts_told(shot, truth, folder)
    elif row.scene == "dusk":
        told = balance_told(shot.report, seed, size)
    return Found(*plain, psnr(light, truth), spent, told)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--size", default="480x320")
    parser.add_argument("--only", default="", help="some subjects, with commas")
    parser.add_argument("--small", action="store_true", help="one subject, small")
    asked = parser.parse_args()
    if asked.small:
        asked.seeds, asked.size, asked.only = 1, "120x80", "crowd"
    width, height = map(int, asked.size.split("x"))
    rows = [row for row in ROWS if not asked.only or row.subject in asked.only.split(",")]
    print(f"{'subject':44}{'seed':>5}{'mean':>8}{'lighten':>9}{'subject':>9}{'aim':>5}{'CPU s':>7}")
    with tempfile.TemporaryDirectory() as top:
        for seed in range(1, asked.seeds + 1):
            for row in rows:
                folder = Path(top) / f"{row.scene}-{seed}"
                if row.truth == "poses" and not folder.exists():
                    shoot_one_walker(folder, seed, (width, height))
                if not folder.exists():
                    render_scene(row.scene, folder, size=(width, height), seed=seed)
                if row.cars:
                    folder = Path(top) / f"cars-{seed}"
                    if not folder.exists():
                        shoot_cars(folder, seed, (width, height))
                found = measure(folder, row, seed, (width, height))
                aim = f"{row.aim_db:.0f}" if row.aim_db else "-"
                figures = f"{found.mean_db:>8.1f}{found.lighten_db:>9.1f}{found.subject_db:>9.1f}"
                print(f"{row.title:44}{seed:>5}{figures}{aim:>5}{found.cpu_s:>7.1f}")
                if found.told:
                    print(f"    {found.told}")


if __name__ == "__main__":
    main()
