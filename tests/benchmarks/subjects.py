"""What the survey takes simulated bursts for: a table of what they are against what it says.

    python -m tests.benchmarks.subjects              every scene ten times, two by hand too
    python -m tests.benchmarks.subjects --small      one seed, one size, for the tests

Scenes are shot as they usually are, from a tripod and by hand. A lighthouse's beam and a boat's
lamp are lights that wander through the dark, which is what light painting is.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from pathlib import Path

import stacker
from stacker.scenes import SCENES
from stacker.scenes.render import BurstPlan, _Studio
from stacker.scenes.stage import build_scene
from stacker.survey.subject import OPTIONS

RIGHT = {
    "harbour": "water",
    "road": "traffic",
    "lighthouse": "light-painting",
    "quay": "crowd",
    "stars": "star-trails",
    "fireworks": "fireworks",
    "dusk": "dusk",
}
SIZES = ((480, 320), (960, 640))


def shoot(
    folder: Path,
    name: str,
    *,
    seed: int,
    size: tuple[int, int],
    tremor_px: float = 0.0,
    frames: int | None = None,
) -> Path:
    """Write the frames of a scene without its truth, which takes most of the time."""
    info = SCENES[name]
    plan = BurstPlan(
        name=name,
        frames=frames or info.frames,
        size=size,
        seed=seed,
        shutter_s=info.shutter_s,
        interval_s=info.interval_s,
        tremor_px=tremor_px,
        file_format="jpg",
    )
    folder.mkdir(parents=True)
    studio = _Studio(plan, build_scene(name, plan.view()))
    for number, path in enumerate(plan.frame_paths(folder)):
        studio.frame(number, path)
    return folder


def named(folder: Path) -> tuple[str, str]:
    """Return the subject that the survey names, and how sure it is."""
    subject = stacker.survey(stacker.open_burst(folder)).measured["subject"]
    return (subject["name"], subject["confidence"]) if subject else ("none", "")


def bursts(*, small: bool) -> list[tuple[str, int, tuple[int, int], float, int]]:
    """Return scene, seed, size, tremor and frames of every burst of the benchmark."""
    if small:
        return [(name, 1, SIZES[0], 0.0, 12) for name in ("harbour", "quay")]
    plans = [
        (name, seed, size, 0.0, SCENES[name].frames)
        for name in SCENES
        for size, seeds in zip(SIZES, (range(1, 8), (8,)), strict=True)
        for seed in seeds
    ]
    # by hand where one would: by day; and short bursts
    plans += [(name, seed, SIZES[0], 3.0, 24) for name in ("harbour", "quay") for seed in (11, 12)]
    plans += [(name, seed, SIZES[0], 0.0, 12) for name in SCENES for seed in (9, 10)]
    return plans


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--small", action="store_true", help="two short bursts")
    parser.add_argument("--scenes", default=",".join(SCENES), help="some of them, with commas")
    asked = parser.parse_args()
    told: dict[str, Counter[str]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, seed, size, tremor_px, frames in bursts(small=asked.small):
            if name not in asked.scenes.split(","):
                continue
            place = Path(folder) / f"{name}-{seed}-{size[0]}-{tremor_px:g}-{frames}"
            burst = shoot(place, name, seed=seed, size=size, tremor_px=tremor_px, frames=frames)
            said, sure = named(burst)
            told.setdefault(name, Counter())[said] += 1
            if said != RIGHT[name]:
                print(f"{place.name}: {sure} {said}, not {RIGHT[name]}")
    columns = [subject for subject in OPTIONS if any(row[subject] for row in told.values())]
    print(f"{'scene':12}{'is':16}" + "".join(f"{column:>15}" for column in columns) + "   right")
    for name, row in told.items():
        cells = "".join(f"{row[column] or '-':>15}" for column in columns)
        print(f"{name:12}{RIGHT[name]:16}{cells}   {row[RIGHT[name]]} of {row.total()}")


if __name__ == "__main__":
    main()
